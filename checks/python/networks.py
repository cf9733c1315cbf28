"""Fault sets of our network against pgmpy: exact inference on sub-networks of at most ten faults.

The knowledge is read here from its TOML files, and the conditional tables are built here from what the
documentation says of them (leaky noisy-OR, states of one reading, mechanisms); only the answers to the same
question are asked of the product. pgmpy eliminates variables over all fault states; its answer is then
conditioned on at most three faults, which is what the product enumerates.
"""

import random
import tomllib

import numpy as np
from common import ROOT, Table, ask
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

MOST = 3


def knowledge():
    read = lambda name: tomllib.loads((ROOT / "knowledge" / f"{name}.toml").read_text())
    return read("faults"), read("observations"), read("likelihoods"), read("actions")


FAULTS, OBSERVATIONS, LIKELIHOODS, ACTIONS = knowledge()
WEIGHT = {f["id"]: f["prior_weight"] for f in FAULTS["fault"]}
OBSERVATION = {o["id"]: o for o in OBSERVATIONS["observation"]}
GROUP = {o["id"]: o["exclusive_group"] for o in OBSERVATIONS["observation"] if "exclusive_group" in o}
MECHANISM = {o: m for m in ACTIONS["mechanism"] for o in m["observations"]}


def single(fault, observation):
    """P(yes | this fault alone); the background where no row is argued."""
    row = LIKELIHOODS["likelihood"].get(fault, {}).get(observation)
    return row["p"] if row else OBSERVATION[observation]["background"]


def noisy_or(present, observation):
    """Leaky noisy-OR: faults that make it likelier fire on their own over the background; faults that
    make it rarer thin the leak; a fault that overrides decides alone (several do so among themselves)."""
    if not present:
        return single("none", observation)
    over = [f for f in present
            if LIKELIHOODS["likelihood"].get(f, {}).get(observation, {}).get("overrides", False)]
    if len(present) > 1 and over:
        present = over
    if len(present) == 1:
        return single(present[0], observation)
    background = OBSERVATION[observation]["background"]
    leak, silent = background, 1.0
    for f in present:
        p = single(f, observation)
        if p < background:
            leak *= p / background
        else:
            silent *= 1 - (p - background) / (1 - background)
    return 1 - (1 - leak) * silent


def states(faults):
    """All present/absent patterns in pgmpy's column order (the last parent turns fastest)."""
    for bits in range(1 << len(faults)):
        yield [f for i, f in enumerate(faults) if bits >> (len(faults) - 1 - i) & 1]


def build(faults, slip, further):
    """The network and, for each observation, the node and state that stand for its answers."""
    net = DiscreteBayesianNetwork()
    total = sum(WEIGHT.values())
    for f in faults:
        odds = further * WEIGHT[f] / total
        net.add_node(f)
        net.add_cpds(TabularCPD(f, 2, [[1 / (1 + odds)], [odds / (1 + odds)]]))
    patterns = list(states(faults))

    def add(node, columns):
        net.add_edges_from([(f, node) for f in faults])
        net.add_cpds(TabularCPD(node, len(columns[0]), np.array(columns).T, evidence=faults,
                                evidence_card=[2] * len(faults)))

    # A car with a fault comes in for certain, one without with this chance.
    sound = further * WEIGHT["none"] / total
    add("comes", [[1 - sound, sound] if not p else [0.0, 1.0] for p in patterns])
    bundles = {}
    for o in OBSERVATION:
        key = GROUP.get(o) or (MECHANISM[o]["id"] if o in MECHANISM else o)
        bundles.setdefault(key, []).append(o)
    for node, members in bundles.items():
        columns = []
        for present in patterns:
            p = [noisy_or(present, o) for o in members]
            if members[0] in GROUP:
                if len(present) > 1:
                    p = [x / max(1.0, sum(p)) for x in p]
                n = len(members) + 1
                p = [(1 - slip) * x + slip / n for x in p]
                columns.append([*p, 1 - sum(p)])
                continue
            p = [(1 - slip) * x + slip / 2 for x in p]
            together = MECHANISM[members[0]]["together"] if members[0] in MECHANISM else 0.0
            column = []
            for bits in range(1 << len(members)):
                yes = [bool(bits >> i & 1) for i in range(len(members))]
                alone = np.prod([x if y else 1 - x for x, y in zip(p, yes)])
                # One draw u in [0, 1): yes where u < p. All answers fit for u in [highest no, lowest yes).
                low = max([x for x, y in zip(p, yes) if not y], default=0.0)
                high = min([x for x, y in zip(p, yes) if y], default=1.0)
                column.append((1 - together) * alone + together * max(0.0, high - low))
            columns.append(column)
        add(node, columns)
    return net, bundles


def soft(members, answers):
    """States of the node that agree with the answers."""
    if members[0] in GROUP:
        fits = []
        for state in range(len(members) + 1):
            agrees = all(answers[o] == (state == i) for i, o in enumerate(members) if o in answers)
            fits.append(agrees)
        return fits
    return [all(answers[o] == bool(bits >> i & 1) for i, o in enumerate(members) if o in answers)
            for bits in range(1 << len(members))]


def reference(faults, answers, slip, further):
    net, bundles = build(faults, slip, further)
    told = {k: m for k, m in bundles.items() if any(o in answers for o in m)}
    # An answer to a part of a bundle leaves several of its states: a child that is yes in those states.
    evidence = {"comes": 1}
    for node, members in told.items():
        fits = soft(members, answers)
        child = f"{node}:told"
        net.add_edge(node, child)
        net.add_cpds(TabularCPD(child, 2, [[0.0 if f else 1.0 for f in fits], [1.0 if f else 0.0 for f in fits]],
                                evidence=[node], evidence_card=[len(fits)]))
        evidence[child] = 1
    for node in set(bundles) - set(told):
        net.remove_node(node)
    net.check_model()
    joint = VariableElimination(net).query(faults, evidence=evidence, show_progress=False)
    values = np.transpose(joint.values, [joint.variables.index(f) for f in faults]).reshape(-1)
    kept = {tuple(sorted(p)): v for p, v in zip(states(faults), values) if len(p) <= MOST}
    total = sum(kept.values())
    return {k: v / total for k, v in kept.items()}


def main():
    table = Table("fault sets by exact inference", ["knowledge/*.toml; pgmpy, variable elimination"],
                  ["pgmpy", "numpy"])
    draw = random.Random(20260105)
    names = [f for f in WEIGHT if f != "none"]
    questions = []
    for i in range(12):
        faults = draw.sample(names, 10 if i % 3 else 6)
        asked = draw.sample(list(OBSERVATION), draw.choice([3, 8, 14]))
        answers = {}
        for o in asked:
            group = [x for x in OBSERVATION if o in GROUP and GROUP.get(x) == GROUP[o]]
            answers[o] = draw.random() < 0.5 and not any(answers.get(x) for x in group)
        questions.append({"ask": "fault_sets", "faults": faults, "answers": answers, "most": MOST})
    # Bundles answered in full, and a set whose faults override a reading.
    questions.append({"ask": "fault_sets", "most": MOST,
                      "faults": ["hose_off_upstream", "ash_full", "sensor_frozen", "zero_error"],
                      "answers": {"dp_2500_high": False, "dp_2500_near_zero": True,
                                  "dtc_dp_sensor_plausibility": True, "dp_key_on_offset": False,
                                  "second_gauge_disagrees": True}})
    for number, (question, answer) in enumerate(zip(questions, ask(questions))):
        want = reference(question["faults"], question["answers"], answer["slip"], answer["further"])
        ours = {tuple(sorted(s["faults"])): s["p"] for s in answer["sets"]}
        table.same(f"network {number}: count of sets", len(ours), len(want), show=False)
        off = {k: abs(ours.get(k, -1) - v) for k, v in want.items()}
        worst = max(off, key=off.get)
        what = f"{len(question['faults'])} faults, {len(question['answers'])} answers: P({'+'.join(worst) or 'none'})"
        table.near(what[:58], ours.get(worst, -1), want[worst], absolute=1e-9)
    table.end()


if __name__ == "__main__":
    main()
