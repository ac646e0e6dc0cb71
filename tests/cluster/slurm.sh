#!/bin/bash
# Drafts through SLURM on this one machine, compared byte by byte with drafts made without it.
#
#   make slurm-test                  the sample, and 4 km2 if TUSSOCK_DATA names the measuring data
#   make slurm-test AREAS=sample     the sample alone
#
# As root, on Debian or Ubuntu: installs slurm-wlm and munge if they are not there. All daemons are started from a
# temporary folder with their own settings, on their own ports; they and the folder are gone at the end.
set -euo pipefail
project=$(cd "$(dirname "$0")/../.." && pwd)
python=${1:-$project/.venv/bin/python}
areas=${AREAS:-sample large}
scratch=$(mktemp -d -t tussock-slurm.XXXXXX)
chmod 755 "$scratch"

stop() {
    local pid pids
    # Jobs first: Snakemake and slurmd wait for theirs to end. Only those of our own SLURM, should there be another.
    if [ "${SLURM_CONF:-}" = "$scratch/slurm.conf" ]; then
        scancel --full --signal=KILL --user root 2>/dev/null || true
    fi
    pids="$(cat "$scratch"/*.pid 2>/dev/null) $(jobs -p)"
    for pid in $pids; do kill "$pid" 2>/dev/null || true; done
    sleep 3
    for pid in $pids; do kill -KILL "$pid" 2>/dev/null || true; done
    if [ "${KEEP:-}" ]; then echo "kept $scratch"; else rm -rf "$scratch"; fi
}
trap stop EXIT
trap 'exit 130' INT TERM

[ "$(id -u)" = 0 ] || { echo "slurm-test has to be run as root, as it installs and starts SLURM"; exit 2; }
if ! { command -v slurmctld && command -v slurmd && command -v munged && command -v srun; } > /dev/null; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends slurm-wlm munge > "$scratch/apt.log"
fi

# Snakemake's plugin, in an environment that sees everything of the project's own.
"$python" -m venv "$scratch/venv"
"$python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))' > "$("$scratch/venv/bin/python" \
    -c 'import sysconfig; print(sysconfig.get_path("purelib"))')/project.pth"
"$scratch/venv/bin/python" -m pip install -q --disable-pip-version-check "snakemake-executor-plugin-slurm>=2,<3"
export PATH="$scratch/venv/bin:$PATH" PYTHONPATH="$project"

start_slurm() {
    dd if=/dev/urandom of="$scratch/munge.key" bs=1024 count=1 status=none
    chmod 600 "$scratch/munge.key"
    mkdir "$scratch/munge" "$scratch/state" "$scratch/spool"
    munged --force --key-file="$scratch/munge.key" --socket="$scratch/munge/socket" --pid-file="$scratch/munged.pid" \
        --log-file="$scratch/munge/log" --seed-file="$scratch/munge/seed"
    # A node of 4 cores and 16 GB, whatever this machine has, so that a group of four jobs of the profile fits on it;
    # jobs of the sample need a tenth of what they ask for.
    cat > "$scratch/slurm.conf" << CONF
ClusterName=tussock
SlurmctldHost=$(hostname -s)(127.0.0.1)
SlurmctldPort=16817
SlurmdPort=16818
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$scratch/munge/socket
StateSaveLocation=$scratch/state
SlurmdSpoolDir=$scratch/spool
SlurmctldPidFile=$scratch/slurmctld.pid
SlurmdPidFile=$scratch/slurmd.pid
SlurmctldLogFile=$scratch/slurmctld.log
SlurmdLogFile=$scratch/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SchedulerType=sched/backfill
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU_Memory
AccountingStorageType=accounting_storage/none
JobAcctGatherType=jobacct_gather/none
MpiDefault=none
MailProg=/bin/true
SlurmdParameters=config_overrides
ReturnToService=2
MinJobAge=7200
KillWait=2
NodeName=$(hostname -s) NodeAddr=127.0.0.1 CPUs=4 RealMemory=16000 State=UNKNOWN
PartitionName=main Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
    export SLURM_CONF="$scratch/slurm.conf"
    # The plugin hides SLURM's variables from its jobs, so that srun there would look for the settings in /etc.
    printf '#!/bin/sh\nSLURM_CONF=%s exec %s "$@"\n' "$SLURM_CONF" "$(command -v srun)" > "$scratch/venv/bin/srun"
    chmod 755 "$scratch/venv/bin/srun"
    slurmctld
    slurmd
    for _ in $(seq 30); do
        [ "$(sinfo --noheader --format=%t 2>/dev/null)" = idle ] && return
        sleep 1
    done
    cat "$scratch"/slurm*.log
    echo "SLURM did not come up"
    exit 1
}

# Runs a command that is stopped when this script is.
in_front() {
    "$@" &
    wait $!
}

# Prints the area file of a draft: NAME, its tiles, and the folder of the draft.
area_file() {
    mkdir -p "$3"
    printf 'name: %s\ntiles: "%s"\nmap_date: 2027-04-10\nout: out\n' "$1" "$2" > "$3/area.yaml"
    echo "$3/area.yaml"
}

# Kills one job of the next submission that runs, as a node that fails does.
kill_one_job() {
    local job
    while sleep 0.2; do
        job=$(squeue --noheader --states=RUNNING --format=%A | head -1)
        if [ "$job" ]; then
            sleep 1
            scancel --signal=KILL --full "$job" && echo "killed job $job" | tee -a "$scratch/killed"
            return
        fi
    done
}

compare() {
    local name=$1 tiles=$2 local_area slurm_area
    local_area=$(area_file "$name" "$tiles" "$scratch/$name/local")
    slurm_area=$(area_file "$name" "$tiles" "$scratch/$name/slurm")
    cd "$project"
    in_front python -m snakemake --cores 2 --quiet all --config area="$local_area"
    kill_one_job &
    in_front python -m snakemake --profile config/profiles/slurm --slurm-status-command squeue \
        --seconds-between-status-checks 3 --slurm-init-seconds-before-status-checks 3 --config area="$slurm_area" \
        > "$scratch/$name/slurm.log" 2>&1 || { tail -50 "$scratch/$name/slurm.log"; return 1; }
    [ -s "$scratch/killed" ] || { echo "no job was killed"; return 1; }
    rm "$scratch/killed"
    echo "$(scontrol --oneliner show jobs | grep -c JobId=) submissions so far"
    in_front python -m tests.same_files "$scratch/$name/local/out" "$scratch/$name/slurm/out"
}

start_slurm
for area in $areas; do
    case $area in
        sample) compare sample "$project/sample_tiles/*.laz" ;;
        large)
            [ "${TUSSOCK_DATA:-}" ] || { echo "4 km2 left out: TUSSOCK_DATA names no folder"; continue; }
            python -m tests.benchmarks.large_area "$TUSSOCK_DATA/scene_a/tiles" "$scratch/large/tiles" "${TILES:-14}"
            compare large "$scratch/large/tiles/*.laz"
            ;;
    esac
done
