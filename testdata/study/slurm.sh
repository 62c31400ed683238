#!/bin/sh
# A study on a one-node Slurm, held against the same study run locally, byte by byte.
#
#   testdata/study/slurm.sh [ridgerule]      as root, with Debian's slurm-wlm and munge installed
#
# 20 cases as an array of 5 tasks; task 3 is killed while it runs and requeued; then merged.
# Exit status 0: equal; 77: Slurm or root is missing, nothing was tested; else: not equal.
# Nothing is left running. cred_expire is short because Slurm holds a requeued task back that long (two
# minutes otherwise).
set -eu

for need in slurmctld slurmd sbatch scontrol munged; do
    command -v $need >/dev/null 2>&1 || { echo "skipped: no $need (apt-get install slurm-wlm munge)" >&2; exit 77; }
done
[ "$(id -u)" = 0 ] || { echo "skipped: not root" >&2; exit 77; }

here=$(cd "$(dirname "$0")/../.." && pwd)
D=$(mktemp -d)
pids=
end() {
    scontrol shutdown >/dev/null 2>&1 || :
    sleep 1
    for p in $pids "$(cat "$D/slurmd.pid" 2>/dev/null)" "$(cat "$D/slurmctld.pid" 2>/dev/null)"; do
        [ -z "$p" ] || kill "$p" 2>/dev/null || :
    done
    rm -rf "$D"
}
trap end EXIT
trap 'exit 1' INT TERM

# The program, one synthetic case, and twenty plans of it that differ in their place.
if [ $# -gt 0 ]; then program=$(realpath "$1"); else program=$D/ridgerule; (cd "$here" && go build -o "$program" ./cmd/ridgerule); fi
"$program" phantom -o "$D/jaw" --plain --voxel 0.6 --sites 36 --quiet >/dev/null
printf 'case,series,plan,reader,replicate,group\n' > "$D/manifest.csv"
i=0
while [ $i -lt 20 ]; do
    sed "s/scale_half_width: .*/scale_half_width: 0.0$((10 + i))/" "$D/jaw/plan.yaml" > "$D/plan$i.yaml"
    printf 'jaw-%d,jaw/scan,plan%d.yaml,A,1,%d\n' $i $i $((i % 3)) >> "$D/manifest.csv"
    i=$((i + 1))
done

# Locally.
"$program" study run "$D/manifest.csv" -o "$D/local" --quiet >/dev/null
"$program" study merge "$D/local" --quiet >/dev/null

# Slurm: no accounting, no control groups, no systemd.
mkdir -p /run/munge /var/log/munge /var/lib/munge "$D/state" "$D/spool" "$D/log"
chown munge:munge /run/munge /var/log/munge /var/lib/munge
if ! munge -n >/dev/null 2>&1; then
    runuser -u munge -- /usr/sbin/munged --force
    pids=$(cat /run/munge/munged.pid)
fi
host=$(hostname)
cat > "$D/slurm.conf" <<E
ClusterName=one
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=cred_expire=5
CryptoType=crypto/munge
CommunicationParameters=NoInAddrAny,NoCtldInAddrAny
MpiDefault=none
ProctrackType=proctrack/pgid
TaskPlugin=task/none
SwitchType=switch/none
ReturnToService=2
SlurmctldPidFile=$D/slurmctld.pid
SlurmdPidFile=$D/slurmd.pid
SlurmdSpoolDir=$D/spool
StateSaveLocation=$D/state
SlurmctldLogFile=$D/log/slurmctld.log
SlurmdLogFile=$D/log/slurmd.log
SchedulerType=sched/backfill
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
AccountingStorageType=accounting_storage/none
JobAcctGatherType=jobacct_gather/none
JobCompType=jobcomp/filetxt
JobCompLoc=$D/log/jobcomp.txt
MaxArraySize=20001
MaxJobCount=30000
KillWait=2
SchedulerParameters=batch_sched_delay=0,sched_min_interval=0,sched_interval=2,bf_interval=2,default_queue_depth=1000
NodeName=$host NodeAddr=127.0.0.1 CPUs=2 RealMemory=2000 State=UNKNOWN
PartitionName=main Nodes=$host Default=YES MaxTime=INFINITE State=UP
E
export SLURM_CONF="$D/slurm.conf"
slurmctld
sleep 2
slurmd
sleep 2

# The script as a user gets it: 5 tasks of 4 cases. In its first run task 3 is stopped once it has
# measured a case, so that the kill meets it at work.
"$program" study script "$D/manifest.csv" -o "$D/slurm" --slurm --tasks 5 --cpus 1 --memory 512M --time 00:10:00 --program "$D/slow" > "$D/job.sh"
cat > "$D/slow" <<E
#!/bin/sh
if [ "\$SLURM_ARRAY_TASK_ID" = 3 ] && [ "\${SLURM_RESTART_COUNT:-0}" = 0 ]; then
    "$program" "\$@" &
    until ls -d "$D"/slurm/cases/jaw-3.A.1 "$D"/slurm/cases/jaw-8.A.1 2>/dev/null | grep -q .; do sleep 0.02; done
    kill -STOP \$!
    ls -A "$D/slurm/cases" > "$D/begun"
    wait
fi
exec "$program" "\$@"
E
chmod +x "$D/slow"
cd "$D/log"
job=$(sbatch --parsable "$D/job.sh")
n=0
until [ -e "$D/begun" ]; do
    sleep 1
    n=$((n + 1))
    [ $n -lt 120 ] || { echo "task 3 did not begin" >&2; squeue >&2; exit 1; }
done
scontrol requeue "${job}_3"
# Wait for it to come back, and ask Slurm to make it soon.
n=0
until scontrol update JobId="${job}_3" StartTime=now 2>/dev/null && [ "$(squeue -h -j "${job}_3" -t PD -o %i | wc -l)" = 0 ] || [ -z "$(squeue -h -j "$job" -o %i)" ]; do
    sleep 1
    n=$((n + 1))
    [ $n -lt 240 ] || { echo "task 3 did not come back" >&2; squeue >&2; exit 1; }
done
n=0
while [ -n "$(squeue -h -j "$job" -o %i 2>/dev/null)" ]; do
    sleep 1
    n=$((n + 1))
    [ $n -lt 300 ] || { echo "the array did not end" >&2; squeue >&2; cat "$D"/log/study-* >&2; exit 1; }
done

"$program" study merge "$D/slurm" --quiet >/dev/null
for f in measurements.csv sites.csv cases.csv failures.csv datapackage.json; do
    cmp "$D/local/$f" "$D/slurm/$f" || { cat "$D"/log/study-*-3.log >&2; exit 1; }
done
[ "$(wc -l < "$D/slurm/sites.csv")" = 21 ] || { echo "not 20 sites" >&2; exit 1; }
grep -c '' "$D/log/jobcomp.txt" | sed 's/^/Slurm equals local; tasks ended by Slurm: /'
