#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Random traces, and scenarios cut by the loss of power, through `postwalk replay` and the model.

    run.py [--seed S] [--count N] [--mutate M] [--no-cuts] POSTWALK

--count   random traces (and policies) of this seed: every output must equal the model's
--mutate  traces and policies with bytes changed and lines cut, doubled or moved: the program must
          end with 0, or with 2 and one sentence that names the file; what both take must be equal
cuts      every scenario, with power cut before and after each of its lines, for a dip, 11 s, an
          hour, and with the clock lost: equal to the model's

The seed is printed, and makes the same again. A failure shows its trace and its policy. The last
line is `N passed, M failed`. Build the program with sanitizers to have them watch as well.
"""

import argparse
import multiprocessing
import os
import random
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
import model
import randomtrace

SCENARIOS = os.path.join(HERE, "..", "scenarios")
CHUNK = 50
GROUP = 10
GAPS = ((500, ""), (11000, ""), (3600000, ""), (2000, " clock=lost"), (3600000, " clock=lost"))
ODD_BYTES = set(b"\r\v\f\x1c\x1d\x1e\x1f\x00") | set(range(0x80, 0x100))


# ---- the two programs -----------------------------------------------------------------------

def run_program(postwalk, traces, conf=None):
    """Status, standard output, standard error."""
    command = [postwalk, "replay", "--rungs"] + (["--config", conf] if conf else []) + traces
    done = subprocess.run(command, capture_output=True, timeout=120, check=False)
    return (done.returncode, done.stdout.decode("utf-8", "replace"),
            done.stderr.decode("utf-8", "replace"))


def run_model(trace, conf=None):
    """The same of the model."""
    lines, status, said = [], 0, ""
    try:
        policy = model.PolicyReader(conf).read() if conf else model.Policy()
        model.Replay(trace, policy, True, lines.append).play()
    except (model.Bad, UnicodeDecodeError) as e:
        status, said = 2, f"{e}\n"
    return status, "".join(line + "\n" for line in lines), said


def split(output):
    """The output of several traces: each ends with its `standing`."""
    parts, part = [], []
    for line in output.splitlines(True):
        part.append(line)
        if line.startswith('{"kind":"standing"'):
            parts.append("".join(part))
            part = []
    return parts + (["".join(part)] if part else [])


def shown(trace, conf):
    """The files of a failure, as text: their folder will be gone."""
    text = ""
    for path in (conf, trace):
        if path and not path.startswith(SCENARIOS):
            with open(path, encoding="utf-8", errors="backslashreplace") as f:
                text += f"---- {os.path.basename(path)}\n{f.read()[:6000]}"
    return text


def difference(name, ours, models):
    for number, (a, b) in enumerate(zip(ours.splitlines() + ["(no more)"],
                                        models.splitlines() + ["(no more)"]), 1):
        if a != b:
            return f"{name}: record {number}\n  program {a}\n  model   {b}"
    return f"{name}: one says more than the other"


# ---- equal to the model ---------------------------------------------------------------------

def compare(postwalk, traces, conf=None):
    """Traces of one policy, in one call; what differs, as texts."""
    if not traces:
        return []
    status, out, said = run_program(postwalk, traces, conf)
    parts = split(out)
    if status != 0 or len(parts) != len(traces):
        if len(traces) > 1:     # one by one, to know which
            return [text for t in traces for text in compare(postwalk, [t], conf)]
        return [f"{traces[0]}: status {status}: {said.strip()[:2000]}\n{shown(traces[0], conf)}"]
    models = [run_model(t, conf) for t in traces]
    return [f"{difference(t, part, m[1])}\n{shown(t, conf)}" for t, part, m in zip(traces, parts, models)
            if (0, part) != m[:2]]


def write_policy(seed, group, folder):
    """The policy of a group of traces, and its path; or the defaults, and None."""
    r = random.Random(f"{seed}/policy/{group}")
    if r.random() < .33:
        return model.Policy(), None
    conf = os.path.join(folder, f"r{seed}-{group}.conf")
    randomtrace.RandomPolicy(r).write(conf)
    return model.PolicyReader(conf).read(), conf


def write_trace(seed, i, policy, folder):
    path = os.path.join(folder, f"r{seed}-{i}.trace")
    randomtrace.RandomTrace(random.Random(f"{seed}/trace/{i}"), policy).write(path)
    return path


def explore(job):
    """A chunk of random traces, GROUP to a policy. How many there were, and what failed."""
    postwalk, seed, first, count = job
    failed = []
    with tempfile.TemporaryDirectory(prefix="postwalk-explore.") as folder:
        for start in range(first, first + count, GROUP):
            policy, conf = write_policy(seed, start, folder)
            traces = [write_trace(seed, i, policy, folder)
                      for i in range(start, min(start + GROUP, first + count))]
            failed += compare(postwalk, traces, conf)
    return count, failed


# ---- scenarios, cut -------------------------------------------------------------------------

def moved(line, by):
    """A line of a trace, later."""
    words = line.split("#")[0].split()
    if not words:
        return line
    return " ".join([model.seconds(model.read_ms(words[0]) + by)] + words[1:])


def cut_traces(lines):
    """Variants of a scenario: cut before and after each line, and the rest later by the gap."""
    times = [model.read_ms(words[0]) for words in lines]
    for k in range(1, len(lines)):
        for at in {times[k - 1], times[k - 1] + 50, (times[k - 1] + times[k]) // 2, times[k]}:
            if at > times[k]:
                continue
            for gap, lost in GAPS:
                cut = [f"{model.seconds(at)} power=cut", f"{model.seconds(at + gap)} power=on{lost}"]
                rest = [" ".join(words) for words in lines[k:]]
                yield [" ".join(words) for words in lines[:k]] + cut + [moved(t, gap) for t in rest]


def cut_scenario(job):
    """A scenario with every cut. Those that have cuts of their own already stay as they are."""
    postwalk, trace = job
    conf = os.path.splitext(trace)[0] + ".conf"
    conf = conf if os.path.exists(conf) else None
    with open(trace, encoding="utf-8") as f:
        lines = [words for words in (line.partition("#")[0].split() for line in f) if words]
    if any(word.startswith("power=") for words in lines for word in words):
        return 1, compare(postwalk, [trace], conf)
    paths = []
    with tempfile.TemporaryDirectory(prefix="postwalk-cuts.") as folder:
        for i, variant in enumerate(cut_traces(lines)):
            paths.append(os.path.join(folder, f"{os.path.basename(trace)}-{i}"))
            with open(paths[-1], "w", encoding="utf-8") as f:
                f.write("\n".join(variant) + "\n")
        failed = []
        for i in range(0, len(paths), CHUNK):
            failed += compare(postwalk, paths[i:i + CHUNK], conf)
    return len(paths), failed


def scenarios():
    found = []
    for folder in (SCENARIOS, os.path.join(SCENARIOS, "own-policy")):
        if os.path.isdir(folder):
            found += [os.path.join(folder, name) for name in sorted(os.listdir(folder))
                      if name.endswith(".trace")]
    return found


# ---- changed bytes --------------------------------------------------------------------------

def flip(r, data):
    at = r.randrange(len(data))
    data[at] = r.choice((data[at] ^ 1 << r.randrange(8), r.randrange(256), *b"0123456789=. \n#-[]"))


def cut_out(r, data):
    at = r.randrange(len(data))
    del data[at:at + r.choice((1, 1, 2, 10, 100))]


def put_in(r, data):
    at = r.randrange(len(data))
    data[at:at] = r.choice((b"9", b"1", b" ", b"\n", b"=", b"power=cut ", b"power=on ", b"end", b"\x00",
                            b"rear_button=1 ", b"x" * 1001, b"9" * 30, b"\xff\xfe", b"[rung x]\n"))


def lines_about(r, data):
    lines = bytes(data).split(b"\n")
    a, b = r.randrange(len(lines)), r.randrange(len(lines))
    choice = r.randrange(3)
    if choice == 0:
        lines[a], lines[b] = lines[b], lines[a]
    elif choice == 1:
        lines.insert(b, lines[a])
    else:
        del lines[a]
    data[:] = b"\n".join(lines)


def mutate(r, path):
    """Changes a file a little. True when none of its bytes is one that Python reads otherwise."""
    with open(path, "rb") as f:
        data = bytearray(f.read())
    for _ in range(r.choice((1, 1, 1, 2, 5, 20))):
        if data:
            r.choice((flip, flip, cut_out, put_in, lines_about))(r, data)
    with open(path, "wb") as f:
        f.write(data)
    return not ODD_BYTES & set(data)


def judge_mutated(postwalk, trace, conf, comparable):
    """None, or what is wrong."""
    status, out, said = run_program(postwalk, [trace], conf)
    if status == 0 and said == "":
        m = run_model(trace, conf) if comparable else (2, "", "")
        return None if m[0] != 0 or m[1] == out else difference(trace, out, m[1])
    sentence = said.startswith((trace, conf or trace)) and said.count("\n") == 1 and "expected" in said
    if status == 2 and sentence:
        return None
    return f"{trace}: status {status}: {said.strip()[:2000]}"


def mutated(job):
    """A chunk of changed files: the trace mostly, else its policy."""
    postwalk, seed, first, count = job
    failed = []
    with tempfile.TemporaryDirectory(prefix="postwalk-mutate.") as folder:
        for i in range(first, first + count):
            r = random.Random(f"{seed}/mutate/{i}")
            policy, conf = write_policy(seed, i, folder)
            trace = write_trace(seed, i, policy, folder)
            of_policy = conf and r.random() < .4
            comparable = mutate(r, conf if of_policy else trace)
            wrong = judge_mutated(postwalk, trace, conf, comparable and not of_policy)
            failed += [f"mutation {i}: {wrong}\n{shown(trace, conf)}"] if wrong else []
    return count, failed


# ---- the program ----------------------------------------------------------------------------

def chunks(postwalk, seed, count):
    return [(postwalk, seed, first, min(CHUNK, count - first)) for first in range(0, count, CHUNK)]


def report(results, what):
    count, failed = 0, []
    for n, texts in results:
        count += n
        for text in texts:
            print(text, flush=True)
        failed += texts
    print(f"{what}: {count - len(failed)} of {count}", flush=True)
    return count, len(failed)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--seed", default=str(random.SystemRandom().randrange(10 ** 9)))
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--mutate", type=int, default=0)
    parser.add_argument("--no-cuts", action="store_true")
    parser.add_argument("postwalk")
    args = parser.parse_args()
    print(f"seed {args.seed}", flush=True)
    jobs = [(explore, chunks(args.postwalk, args.seed, args.count), "random traces"),
            (mutated, chunks(args.postwalk, args.seed, args.mutate), "changed bytes")]
    if not args.no_cuts:
        jobs.append((cut_scenario, [(args.postwalk, t) for t in scenarios()], "cut scenarios"))
    count = failed = 0
    with multiprocessing.Pool(2) as pool:
        for work, parts, what in jobs:
            if parts:
                n, bad = report(pool.imap_unordered(work, parts), what)
                count, failed = count + n, failed + bad
    print(f"{count - failed} passed, {failed} failed")
    return 1 if failed or count == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
