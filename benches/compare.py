#!/usr/bin/env python3
"""Compares the rule of free times with PostgreSQL's multiranges and a general interval library on the same rows, and
measures a whole server. Run from the top of the repository: `python3 benches/compare.py`. It installs what it needs
(PostgreSQL from the system's packages, `portion` from PyPI) when it is missing, and prints the table of README.md.

Everything happens in one run on one machine, so only the ratios mean much."""

import json
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))


def run(*words, **more):
    return subprocess.run(words, check=True, text=True, capture_output=True, **more).stdout


def set_up():
    if not list(Path("/usr/lib/postgresql").glob("*/bin/initdb")):
        subprocess.run(["apt-get", "install", "-y", "--no-install-recommends", "postgresql"], check=True)
    venv = TARGET / "bench-venv"
    if not (venv / "bin/python").exists():
        subprocess.run([sys.executable, "-m", "venv", str(venv)], check=True)
        subprocess.run([venv / "bin/pip", "install", "--quiet", "portion==2.6.3"], check=True)
    subprocess.run(["cargo", "build", "--release", "--bin", "palpebra"], cwd=ROOT, check=True)
    built = run("cargo", "bench", "--no-run", "--bench", "schedule", "--message-format=json", cwd=ROOT)
    found = [json.loads(line) for line in built.splitlines()]
    bench = [one["executable"] for one in found if one.get("target", {}).get("name") == "schedule" and one.get("executable")]
    return bench[0], str(venv / "bin/python")


# --- PostgreSQL ---

TABLES = """
CREATE TABLE visit (practitioner int, room int, during int8range);
CREATE TABLE work (during int8range);
"""
QUESTION = """
WITH hours AS (SELECT range_agg(during) AS all_of_it FROM work),
  person AS (SELECT practitioner, h.all_of_it - range_agg(during) AS free FROM visit, hours h GROUP BY practitioner, h.all_of_it),
  room AS (SELECT room, h.all_of_it - range_agg(during) AS free FROM visit, hours h GROUP BY room, h.all_of_it),
  start AS (SELECT generate_series(ceil(greatest(lower(during), {not_before})::numeric / {grid})::int8 * {grid},
                                   upper(during) - {taken}, {grid}) AS at FROM work)
SELECT at FROM start
WHERE EXISTS (SELECT FROM person WHERE free @> int8range(at, at + {taken}))
  AND EXISTS (SELECT FROM room WHERE free @> int8range(at, at + {taken}))
ORDER BY at
"""


def rows_of(question):
    """Practitioner, room, from, to: a step that both rooms have is told apart by who works there."""
    rows = []
    for room, spans in enumerate(question["rooms"]):
        for start, end in spans:
            who = [n for n in (room, room + 2) if [start, end] in question["sets"][n]]
            rows.append((who[0], room, start, end))
    return rows


def postgres(question, folder):
    """Median milliseconds of eleven answers on one connection, and the answer."""
    tools = sorted(Path("/usr/lib/postgresql").glob("*/bin"))[-1]
    data = Path(folder) / "pg"
    data.mkdir()
    as_user = []
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
        shutil.chown(data, "postgres")
        as_user = ["runuser", "-u", "postgres", "--"]
    run(*as_user, tools / "initdb", "-D", data, "--auth=trust")
    settings = f"-c listen_addresses= -c unix_socket_directories={data} -c shared_buffers=256MB -c jit=off"
    run(*as_user, tools / "pg_ctl", "-D", data, "-w", "-o", settings, "-l", data / "log", "start")
    try:
        work = "".join(f"{start}\t{end}\n" for start, end in question["work"])
        visits = "".join(f"{who}\t{room}\t[{start},{end})\n" for who, room, start, end in rows_of(question))
        work = "".join(f"[{start},{end})\n" for start, end in question["work"])
        fill = f"{TABLES}COPY visit FROM stdin;\n{visits}\\.\nCOPY work FROM stdin;\n{work}\\.\nANALYZE;\n"
        psql = [*as_user, tools / "psql", "-h", data, "-d", "postgres", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1"]
        run(*psql, input=fill)
        ask = QUESTION.format(**{key: question[key] for key in ("not_before", "grid", "taken")})
        found = [int(line) for line in run(*psql, "-c", ask).split()]
        timed = run(*psql, input="\\o /dev/null\n\\timing on\n" + f"{ask};\n" * 11)
        took = [float(line.split()[1]) for line in timed.splitlines() if line.startswith("Time:")]
        return statistics.median(took), found
    finally:
        run(*as_user, tools / "pg_ctl", "-D", data, "-m", "immediate", "stop")


# --- a general interval library ---

PORTION = """
import json, sys, time
import portion as P
q = json.load(sys.stdin)
def ask():
    hours = P.Interval(*[P.closedopen(a, b) for a, b in q["work"]])
    free = lambda rows: hours - P.Interval(*[P.closedopen(a, b) for a, b in rows])
    people, rooms = [free(rows) for rows in q["practitioners"]], [free(rows) for rows in q["rooms"]]
    # Each free piece on its own gives the starts that fit into it, so that no start is looked up in a long list.
    def starts(pieces):
        found = set()
        for piece in pieces:
            first = -(-max(piece.lower, q["not_before"]) // q["grid"]) * q["grid"]
            found.update(range(first, piece.upper - q["taken"] + 1, q["grid"]))
        return found
    return sorted(set().union(*map(starts, people)) & set().union(*map(starts, rooms)))
took = []
for _ in range(5):
    begin = time.perf_counter()
    found = ask()
    took.append((time.perf_counter() - begin) * 1000)
print(json.dumps([sorted(took)[2], found]))
"""


# --- a whole server ---


def serve(file_folder):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = [TARGET / "release/palpebra", "serve", "--demo", "--no-limits", "--now", "2026-03-02T05:00:00Z"]
    server = subprocess.Popen(
        [*words, "--listen", f"127.0.0.1:{port}", "--data", file_folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "RUST_LOG": "off"},
    )
    for line in server.stdout:
        if line.startswith("Listening"):
            return server, f"http://127.0.0.1:{port}"
    raise SystemExit("the server did not start")


def pages(bench, folder, past, seconds=20):
    """The page of a service with free times, and of one that finds none in all the days that are looked at."""
    home = Path(folder) / f"past-{past}"
    home.mkdir()
    paths = run(bench, "fill", home / "palpebra.db", str(past)).split()
    server, url = serve(home)
    try:
        for path in paths:
            run(bench, "load", url + path, "3")
        return [json.loads(run(bench, "load", url + path, str(seconds))) for path in paths]
    finally:
        server.terminate()
        server.wait()


def rules(bench, python, minutes):
    question = json.loads(run(bench, "question", str(minutes)))
    question["sets"] = [list(map(list, rows)) for rows in question["practitioners"]]
    ours, in_order = question["ns_from_rows"] / 1e6, question["ns_in_order"] / 1e6
    asked = {key: question[key] for key in ("practitioners", "rooms", "work", "not_before", "grid", "taken")}
    other, found = json.loads(run(python, "-c", PORTION, input=json.dumps(asked)))
    assert found == question["starts"], "portion gives other times"
    with tempfile.TemporaryDirectory() as folder:
        pg, found = postgres(question, folder)
    assert found == question["starts"], "PostgreSQL gives other times"
    row = f"| {minutes} minutes | {len(found)} | {in_order:.2f} ms | {ours:.2f} ms"
    print(f"{row} | {pg:.1f} ms ({pg / ours:.0f}×) | {other:.0f} ms ({other / ours:.0f}×) |", flush=True)


def main():
    bench, python = set_up()
    print("\n| a visit of | free times in 60 days | the rule, busy times in order | from rows | PostgreSQL multiranges | portion |")
    print("|---|---|---|---|---|---|", flush=True)
    for minutes in (20, 60):
        rules(bench, python, minutes)
    print("\n| 100 visitors, a page a second each | with times: p50 | p99 | none left: p50 | p99 |")
    print("|---|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        for past in (1_000, 200_000, 1_000_000):
            got = " | ".join(f"{one[key] / 1000:.1f} ms" for one in pages(bench, folder, past) for key in ("p50", "p99"))
            print(f"| {past:,} past visits | {got} |", flush=True)


main()
