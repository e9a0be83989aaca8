#!/usr/bin/env bash
# All networks side by side: both.sh SECONDS OUT. Voice on the first card; on the second, if there is one, the Morse
# reader and then its finder, both from the weights that are kept here.
set -u
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 PYTHONUNBUFFERED=1
cards=$(nvidia-smi -L | wc -l)
workers=$(($(nproc) - 2)); [ "$cards" -gt 1 ] && workers=$(($(nproc) - 12))
CUDA_VISIBLE_DEVICES=0 python3 voice_finder.py "$1" "$2/voice.pt" - "$workers" >"$2/voice.log" 2>&1 &
if [ "$cards" -gt 1 ]; then
  reading=$(($1 * 38 / 100))
  (
    export CUDA_VISIBLE_DEVICES=1
    python3 reader.py "$reading" "$2/reader.pt" weights/reader.pt >"$2/reader.log" 2>&1
    python3 finder.py $(($1 - reading - 15)) "$2/reader.pt" "$2/finder.pt" weights/finder.pt >"$2/finder.log" 2>&1
  ) &
fi
wait
