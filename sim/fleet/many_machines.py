#!/usr/bin/env python3
"""Replays any number of logs on a Dask cluster, into one set of Parquet tables.

Decides: one task a log; what is tried again (a worker that died, a file system that failed), and what is not (a log
that `bandward` cannot read).
Assumes: dask, distributed and fsspec; `bandward` is on every worker; logs and tables are where every worker reaches
them: folders, or buckets by their addresses (with the package of that storage, such as s3fs).
Never: judges anything itself: `bandward replay` does, so that the tables are those of one machine, byte for byte.

    python3 many_machines.py logs/ tables/ --workers 8 -- --procedure joint.procedure.toml --machine bay-2

All after `--` goes to `bandward replay`, but for what writes files beside the tables. One JSON object a log is printed, then a summary. Exit code 0: all logs were
replayed; 3: some could not be; 2: none could be, the workers do not start, or wrong usage.
"""

import argparse
import asyncio
import collections
import contextlib
import hashlib
import itertools
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

import fsspec
from distributed import Client, LocalCluster, as_completed, get_worker

ENDINGS = (".csv", ".csv.gz", ".csv.zst", ".parquet")
# What `bandward replay` reads beside NAME.csv without being asked for.
BESIDE = (".joint.toml", ".inspection.toml")
# What names a file that each worker reads.
READS = ("--procedure", "-p", "--layout", "-l", "--setup", "--joint-file", "--inspection")
# What a worker would write beside its tables, into a folder that is removed with its log.
WRITES = ("--register", "--report", "--png", "--parquet")
TABLES = ("bands.parquet", "alarms.parquet", "joints.parquet", "records.parquet")


def logs_in(address):
    """The logs of a folder by their names, as `bandward replay FOLDER` finds them: no hidden ones, no tables.

    Each with its file system: made into one address, a path with `::` in it would be taken for two.
    """
    files, root = fsspec.core.url_to_fs(address)
    for path in sorted(files.find(root)):
        inside = path[len(root):].strip("/").split("/")
        is_hidden = any(part.startswith(".") for part in inside)
        is_table = inside[-1] in TABLES and len(inside) > 1 and inside[-2].startswith("joint=")
        if inside[-1].lower().endswith(ENDINGS) and not is_hidden and not is_table:
            yield files, path


def stem(log):
    """The name of a log without folder and ending, which names its joint."""
    name = log[1].rsplit("/", 1)[-1]
    return name[: -len(next(end for end in ENDINGS if name.lower().endswith(end)))]


def address(log):
    """The address of a log, as it is told."""
    files, path = log
    return shown(files.unstrip_protocol(path))


def shown(text):
    """A text that can be printed: names of files need not be text, and bytes that are none are replaced."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def replay(log, is_one_of_several, tables, program, options, machine_of_folder):
    """Replays one log on a worker; a second time, where a worker died after it had written, gives the same tables.

    One of several logs of a name is written by its content, as `bandward replay` does where they are of one machine and
    day.
    """
    begun = time.monotonic()
    files, path = log
    folder, name = path.rsplit("/", 1)
    if machine_of_folder:
        options = [*options, "--machine", folder.rsplit("/", 1)[-1]]
    # What a worker leaves behind when it dies is removed with its folder.
    with tempfile.TemporaryDirectory(dir=get_worker().local_directory) as own:
        for wanted in (name, *(stem(log) + ending for ending in BESIDE)):
            if wanted == name or files.exists(f"{folder}/{wanted}"):
                files.get_file(f"{folder}/{wanted}", f"{own}/{wanted}")
        # A log may be called as an option is.
        command = [program, "replay", *options, "--json", "--parquet", f"{own}/tables", "--", name]
        one_core = {**os.environ, "RAYON_NUM_THREADS": "1"}
        ran = subprocess.run(command, cwd=own, env=one_core, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        if ran.returncode < 0:
            raise RuntimeError(f"{program} was ended by signal {-ran.returncode}")
        content = f"-{sha256(pathlib.Path(own, name))[:8]}" if is_one_of_several else ""
        written = [] if ran.returncode == 2 else put(pathlib.Path(own, "tables"), tables, content)
    why = ran.stderr.decode(errors="replace").strip() if ran.returncode == 2 else None
    return {"log": address(log), "exit": ran.returncode, "why": why, "tables": written, "worker": os.getpid(),
            "content": content, "seconds": round(time.monotonic() - begun, 3)}


def sha256(path):
    """Of a file, in memory that does not grow."""
    whole = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            whole.update(piece)
    return whole.hexdigest()


def put(own, tables, content):
    """Copies tables to their place, each whole or not at all; `content` ends the name of their joint."""
    files, root = fsspec.core.url_to_fs(tables)
    written = []
    for table in sorted(own.rglob("*.parquet")):
        folder = table.relative_to(own).parent.as_posix() + content
        place = f"{folder}/{table.name}"
        if files.exists(f"{root}/{place}") and files.cat_file(f"{root}/{place}") != table.read_bytes():
            raise FileExistsError(f"another log is written as {place}: give it another name")
        folder, name = f"{root}/{place}".rsplit("/", 1)
        # Engines pass over names that begin with a dot.
        draft = f"{folder}/.{name}.{os.getpid()}.draft"
        files.makedirs(folder, exist_ok=True)
        files.put_file(str(table), draft)
        files.mv(draft, f"{root}/{place}")
        written.append(place)
    return written


def by_plain_names(files, root, results):
    """Gives tables that were written by their content their plain place, where no other log is of that place."""
    def plain(place, content):
        folder, table = place.rsplit("/", 1)
        return f"{folder.removesuffix(content)}/{table}"

    # Copies of one log are written to one place, and are two logs all the same, as on one machine.
    of_place = collections.Counter(plain(place, result["content"]) for result in results for place in result["tables"])
    for result in results:
        for number, written in enumerate(result["tables"]):
            place = plain(written, result["content"])
            if of_place[place] > 1:
                continue
            files.makedirs(f"{root}/{place}".rsplit("/", 1)[0], exist_ok=True)
            files.mv(f"{root}/{written}", f"{root}/{place}")
            with contextlib.suppress(OSError, NotImplementedError):
                files.rmdir(f"{root}/{written}".rsplit("/", 1)[0])
            result["tables"][number] = place


def results(client, logs, *task):
    """What came of each log, as it is done; only a few more than there are workers are handed out at a time."""
    of_stem = collections.Counter(map(stem, logs))
    logs = enumerate(logs)
    handed_out = {}
    running = as_completed()

    def more(count):
        for number, log in itertools.islice(logs, count):
            future = client.submit(replay, log, of_stem[stem(log)] > 1, *task, key=f"replay-{number}", retries=3)
            handed_out[future.key] = log
            running.add(future)

    more(4 * max(1, len(client.scheduler_info(n_workers=-1)["workers"])))
    for future in running:
        log = handed_out.pop(future.key)
        # A worker that died with it four times is here too, and takes no other log with it.
        error = future.exception()
        why = error and shown(repr(error))
        yield {"log": address(log), "exit": 2, "why": why, "tables": [], "content": ""} if error else future.result()
        more(1)


def started(workers):
    """A cluster of processes here; one that died while it started is as good as one that died later: all start again."""
    for again in (True, True, False):
        try:
            return LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None)
        except (RuntimeError, OSError, asyncio.TimeoutError) as error:
            if not again:
                print(f"the workers do not start: {error}", file=sys.stderr, flush=True)
                raise SystemExit(2) from error
            print(f"a worker ended while it started ({error}): all are started again", file=sys.stderr, flush=True)


def from_anywhere(options):
    """The words of the command line as workers elsewhere can use them: a file that one names by its whole path.

    Only behind an option that takes a file: a machine may be called as a file is.
    """
    before = None
    for word in options:
        # `--procedure FILE`, `--procedure=FILE`, `-p=FILE`, `-pFILE`.
        option, is_one, file = word.partition("=")
        if before in READS:
            option, is_one, file = "", "", word
        elif not (is_one and option in READS):
            option, is_one, file = (word[:2], "", word[2:]) if word[:2] in READS else (word, "", "")
        yield option + is_one + (os.path.abspath(file) if file and os.path.isfile(file) else file)
        before = word


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("logs", help="folder or address of the logs")
    parser.add_argument("tables", help="folder or address the tables are written to: new, or empty")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="processes on this machine")
    parser.add_argument("--scheduler", help="address of a Dask cluster, instead of processes here")
    parser.add_argument("--bandward", default="bandward", help="the program, where it is on every worker")
    parser.add_argument("--machine-of-folder", action="store_true", help="the folder of a log names its machine")
    end = sys.argv.index("--") if "--" in sys.argv else len(sys.argv)
    given, options = parser.parse_args(sys.argv[1:end]), sys.argv[end + 1:]
    refused = [word for word in options if word.split("=", 1)[0] in WRITES]
    if refused:
        parser.error(f"{refused[0]}: each log is replayed in a folder of its own that is removed with it, and what is written "
                     f"there would be lost; allowed after `--`: all options of `bandward replay` but {', '.join(WRITES)}")
    # Workers run elsewhere: a file that is named must be found from there.
    options = list(from_anywhere(options))
    files, root = fsspec.core.url_to_fs(given.tables)
    if files.exists(root) and files.find(root):
        parser.error(f"{given.tables} is not empty: name a new folder, so that no old table is left among these")
    program = os.path.abspath(given.bandward) if os.path.isfile(given.bandward) else given.bandward
    begun, failed, done = time.monotonic(), 0, 0
    cluster = given.scheduler or started(given.workers)
    with Client(cluster) as client:
        tables = files.unstrip_protocol(root)
        ready = time.monotonic()
        logs, of_one_name = list(logs_in(given.logs)), []

        def tell(result):
            print(json.dumps({key: result[key] for key in result if key != "content"}), flush=True)

        for result in results(client, logs, tables, program, options, given.machine_of_folder):
            done, failed = done + 1, failed + (result["exit"] == 2)
            if result["content"]:
                of_one_name.append(result)
                continue
            tell(result)
        # Which of them are of one machine and day is known when all are done.
        by_plain_names(files, root, of_one_name)
        for result in of_one_name:
            tell(result)
    now = time.monotonic()
    # Of workers that died while they copied.
    for left in [path for path in files.find(root) if path.endswith(".draft")] if files.exists(root) else []:
        files.rm_file(left)
    print(json.dumps({"logs": done, "failed": failed, "seconds": round(now - ready, 2),
                      "seconds_to_start": round(ready - begun, 2)}))
    if not given.scheduler:
        cluster.close()
    return 2 if done == failed else 3 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
