#!/usr/bin/env python3
"""What a merge takes: time and memory of ridgerule study merge on studies of many cases.

usage: many.py RIDGERULE WORKDIR [N...]        default 1000 10000 100000; Linux, a file system with hard links

Measures three plans of one synthetic jaw, then makes studies of N readings from these folders: every file of a
reading is a hard link to one of the three (a new copy each 50,000, for a file may have 65,000 names), so every
folder is whole and every hash is held, and little of the disk is taken. Prints a row a study: readings, bytes
under their folders, seconds, seconds of a processor, the same per 1000 readings, greatest resident memory. WORKDIR must not exist.
"""
import json, os, shutil, subprocess, sys, time

tool, work = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
sizes = [int(n) for n in sys.argv[3:]] or [1000, 10000, 100000]
os.makedirs(work)
os.chdir(work)

run = lambda *args: subprocess.run([tool, *args, "--quiet"], check=True, stdout=subprocess.DEVNULL)
run("phantom", "-o", "jaw", "--plain", "--voxel", "0.6", "--sites", "36,46")
plan = open("jaw/plan.yaml").read()
with open("manifest.csv", "w") as m:
    m.write("case,series,plan,reader,replicate,group\n")
    for i in range(3):
        name = f"plan{i}.yaml"
        open(name, "w").write("\n".join(l if "scale_half_width" not in l else f"{l.split(':')[0]}: 0.0{10 + i}" for l in plan.split("\n")))
        m.write(f"jaw-{i},jaw/scan,{name},A,1,x\n")
run("study", "run", "manifest.csv", "-o", "few")


def grow(n):
    """Makes a study of n readings and returns the bytes under its folders."""
    os.makedirs(f"many{n}/cases")
    total, source = 0, []
    for i in range(n):
        if i % 50000 == 0:
            shutil.rmtree(f"copy{n}-{i}", ignore_errors=True)
            shutil.copytree("few/cases", f"copy{n}-{i}")
            source = [sorted((os.path.relpath(os.path.join(d, f), c), os.path.join(d, f), os.path.getsize(os.path.join(d, f)))
                             for d, _, files in os.walk(c) for f in files)
                      for c in sorted(f"copy{n}-{i}/{name}" for name in os.listdir(f"copy{n}-{i}"))]
        to = f"many{n}/cases/case-{i:07d}.A.1"
        for name, path, size in source[i % len(source)]:
            os.makedirs(os.path.dirname(f"{to}/{name}"), exist_ok=True)
            os.link(path, f"{to}/{name}")
            total += size
    json.dump({"format": 2, "further_columns": ["group"], "entries": [
        {"case": f"case-{i:07d}", "reader": "A", "replicate": "1", "further": [f"group {i % 7}"]} for i in range(n)]}, open(f"many{n}/study.json", "w"))
    return total


print("| readings | GB | s | processor s | the same per 1000 | MB resident |\n| --- | --- | --- | --- | --- | --- |")
for n in sizes:
    size = grow(n)
    began = time.monotonic()
    child = subprocess.Popen([tool, "study", "merge", f"many{n}", "--quiet"], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    took = time.monotonic() - began
    assert status == 0, status
    busy = usage.ru_utime + usage.ru_stime
    with open(f"many{n}/measurements.csv") as f:
        rows = sum(1 for _ in f) - 1
    assert rows % n == 0 and rows > 0, rows
    print(f"| {n:,} | {size / 1e9:.1f} | {took:.0f} | {busy:.1f} | {1000 * busy / n:.2f} | {usage.ru_maxrss / 1024:.0f} |", flush=True)
    shutil.rmtree(f"many{n}")
