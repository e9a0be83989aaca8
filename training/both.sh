#!/usr/bin/env bash
# Both finders side by side on one card: both.sh SECONDS OUT READER.pt
set -u
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 PYTHONUNBUFFERED=1
python3 finder.py "$1" "$3" "$2/finder.pt" >"$2/finder.log" 2>&1 &
python3 voice_finder.py "$1" "$2/voice.pt" >"$2/voice.log" 2>&1 &
wait
tail -n 25 "$2/finder.log" "$2/voice.log"
