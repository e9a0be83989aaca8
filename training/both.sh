#!/usr/bin/env bash
# Training on all cards: both.sh voice|morse SECONDS OUT [ROUND]. Voice: one network, a process a card. Morse: the reader, then
# its finder, both from the weights that are kept here.
set -u
cores=$(nproc --all)
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 PYTHONUNBUFFERED=1
if [ "$1" = voice ]; then
  cards=$(nvidia-smi -L | wc -l)
  export WORLD_SIZE=$cards MASTER_ADDR=127.0.0.1 MASTER_PORT=29511
  for ((k = 0; k < cards; k++)); do
    RANK=$k python3 voice_finder.py "$2" "$3/voice.pt" weights/voice.pt $(((cores - 2) / cards)) "${4:-0}" >"$3/voice$k.log" 2>&1 &
  done
else
  python3 reader.py $(($2 * 38 / 100)) "$3/reader.pt" weights/reader.pt >"$3/reader.log" 2>&1
  python3 finder.py $(($2 * 60 / 100)) "$3/reader.pt" "$3/finder.pt" weights/finder.pt >"$3/finder.log" 2>&1
fi
wait
