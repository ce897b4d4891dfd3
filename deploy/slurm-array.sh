#!/usr/bin/env bash
# A run split over a Slurm array by content:
#   sbatch --array=1-8 deploy/slurm-array.sh CAPTURES RUNS
# and when it is done:
#   shadowgap merge RUNS/part-* --out RUNS/whole
# A task that is requeued goes on where it stopped.
#SBATCH --job-name=shadowgap
#SBATCH --cpus-per-task=2
#SBATCH --mem=5G
#SBATCH --requeue
set -euo pipefail
captures=${1:?folder of captures}
runs=${2:?folder for the runs}
mkdir -p "$runs"
code=0
shadowgap triage "$captures" --out "$runs/part-$SLURM_ARRAY_TASK_ID" --shard auto --workers "${SLURM_CPUS_PER_TASK:-2}" || code=$?
# 3: finished, some captures unreadable; they are named in the part's captures.csv.
[ "$code" -eq 3 ] || exit "$code"
