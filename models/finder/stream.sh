#!/bin/bash
# Renders views of scenes of all worlds into a folder, file after file, for fit.py --stream; keeps the newest ten. Stop it with the fit.
#
#     stream.sh FOLDER FIRST STEP    # the first file's seeds begin at FIRST, the next one's STEP later; two beside each other keep all cores busy
set -euo pipefail
[ $# -eq 3 ] || { sed -n '2,4s/^# \?//p' "$0"; exit 2; }
folder=$1 first=$2 step=$3
for ((k = 0; ; k++)); do
  seed=$((first + k * step))
  name=$folder/$(printf '%06d' "$seed")
  go run ./cmd/refit -open "" -scenes 1500 -others 350 -first "$seed" -views "$name.part"
  mv "$name.part" "$name.bin"
  rm -f "$folder/$(printf '%06d' $((seed - 10 * step))).bin"
done
