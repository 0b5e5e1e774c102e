"""Random rigs, spans and state changes, computed by general-purpose libraries.

Writes tables of the kinds that `gantline limits compare` knows: the frame by PyNiteFEA (three-dimensional
frame with released ends and distributed self weight), the spans by scipy (the catenary's differential
equation, and the elastic catenary for state changes). Nothing here uses a formula of the project.

    python recompute.py FOLDER SEED ROWS
"""

import csv
import math
import random
import sys
from pathlib import Path

from Pynite import FEModel3D
from scipy.integrate import quad
from scipy.optimize import brentq


def unit(a, b):
    d = [y - x for x, y in zip(a, b)]
    n = math.sqrt(sum(x * x for x in d))
    return [x / n for x in d]


def rig(rng, kind):
    """One random rig as a table row's inputs."""
    height, boom = rng.uniform(2.0, 4.0), rng.uniform(2.0, 4.0)
    row = {
        "H_m": height,
        "L_m": boom,
        "theta_from_vertical_deg": rng.uniform(25, 95),
        "boom_azimuth_deg": rng.uniform(-25, 25),
        "lean_deg": rng.uniform(0, 6),
        "lean_azimuth_deg": rng.uniform(-180, 180),
        "W_n": rng.uniform(500, 6000),
        "boom_weight_n": rng.uniform(50, 250),
        "mast_weight_n": rng.uniform(50, 250),
        "link_weight_n": rng.uniform(10, 90),
        "tail_n": rng.uniform(0, 2000),
        "lead": [rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), rng.uniform(-15, -4)],
        "guy": None,
        "braces": [
            [rng.uniform(-3, -1.5), rng.uniform(0.8, 2), rng.uniform(-1, 0.5)],
            [rng.uniform(-3, -1.5), rng.uniform(-2, -0.8), rng.uniform(-1, 0.5)],
        ],
        "brace_EA_n": rng.uniform(1e6, 3e7),
        "mast_EA_n": rng.uniform(1e7, 6e7),
    }
    if kind == 1:
        row["braces"].append([rng.uniform(-4, -2), rng.uniform(-0.4, 0.4), rng.uniform(-1, 1)])
    return row


def solve(row):
    """The frame by PyNiteFEA; adds the row's results."""
    lean, way = math.radians(row["lean_deg"]), math.radians(row["lean_azimuth_deg"])
    th, be = math.radians(row["theta_from_vertical_deg"]), math.radians(row["boom_azimuth_deg"])
    top = [row["H_m"] * v for v in (math.sin(lean) * math.cos(way), math.sin(lean) * math.sin(way), math.cos(lean))]
    tip = [row["L_m"] * v for v in (math.sin(th) * math.cos(be), math.sin(th) * math.sin(be), math.cos(th))]
    m = FEModel3D()
    young = 24e9
    m.add_material("frp", young, 3.5e9, 0.3, 0.0)

    def node(name, at, held):
        m.add_node(name, *at)
        m.def_support(name, held, held, held, True, True, True)

    # Every member end is released, so the nodes' own rotations are held: they carry nothing.
    node("base", [0, 0, 0], True)
    node("top", top, False)
    node("tip", tip, False)

    def member(name, i, j, ea, weight=0.0):
        m.add_section(name, ea / young, 1e-6, 1e-6, 1e-6)
        m.add_member(name, i, j, "frp", name)
        m.def_releases(name, Ryi=True, Rzi=True, Ryj=True, Rzj=True, Rxj=True)
        if weight:
            length = m.members[name].L()
            m.add_member_dist_load(name, "FZ", -weight / length, -weight / length)

    member("mast", "base", "top", row["mast_EA_n"], row["mast_weight_n"])
    member("boom", "base", "tip", 4e7, row["boom_weight_n"])
    member("link", "tip", "top", 1e7, row["link_weight_n"])
    for k, anchor in enumerate(row["braces"]):
        node(f"a{k}", anchor, True)
        member(f"brace{k}", "top", f"a{k}", row["brace_EA_n"])
    # Without a guy something must supply the side force: a member along the horizontal across the boom.
    side = [-math.sin(be), math.cos(be), 0.0]
    node("side", [t + s * 2 for t, s in zip(tip, side)], True)
    member("side", "tip", "side", 1e7)
    m.add_node_load("tip", "FZ", -row["W_n"])
    for axis, part in zip(("FX", "FY", "FZ"), unit(tip, row["lead"])):
        m.add_node_load("tip", axis, part * row["tail_n"])
    m.analyze_linear(check_stability=False)

    def force(name, at):
        """Compression positive, as PyNiteFEA has it."""
        one = m.members[name]
        return one.axial(one.L() * at, "Combo 1")

    base = m.nodes["base"]
    row.update(
        boom_comp_mean_n=force("boom", 0.5),
        boom_comp_heel_n=force("boom", 0.0),
        link_tension_n=-force("link", 0.5),
        side_force_or_guy_n=-force("side", 0.5),
        mast_comp_mean_n=force("mast", 0.5),
        mast_comp_base_n=force("mast", 0.0),
        base_rx_n=base.RxnFX["Combo 1"],
        base_ry_n=base.RxnFY["Combo 1"],
        base_rz_n=base.RxnFZ["Combo 1"],
    )
    for k in range(3):
        row[f"brace{k + 1}_n"] = -force(f"brace{k}", 0.5) if k < len(row["braces"]) else ""
    return row


def flat(row):
    """Points as three columns."""
    out = {k: v for k, v in row.items() if k not in ("lead", "guy", "braces")}
    points = {"lead": row["lead"], "guy": row["guy"]}
    for k in range(3):
        points[f"a{k + 1}"] = row["braces"][k] if k < len(row["braces"]) else None
    for name, at in points.items():
        for axis, value in zip("xyz", at or ("", "", "")):
            out[f"{name}_{axis}_m"] = value
    return out


def catenary(rng):
    """A span by its differential equation, H y'' = w sqrt(1 + y'^2): the slope is sinh of a straight line."""
    span, w = rng.uniform(80, 600), rng.uniform(5, 30)
    h = w * rng.uniform(700, 2500)
    rise = rng.uniform(-0.15, 0.15) * span

    def slope(x, start):
        return math.sinh(start + w * x / h)

    def reached(start):
        return quad(slope, 0, span, args=(start,), epsabs=1e-11, epsrel=1e-12)[0] - rise

    start = brentq(reached, -3, 3, xtol=1e-15)
    height = lambda x: quad(slope, 0, x, args=(start,), epsabs=1e-11, epsrel=1e-12)[0]
    length = quad(lambda x: math.sqrt(1 + slope(x, start) ** 2), 0, span, epsabs=1e-11, epsrel=1e-12)[0]
    low = brentq(lambda x: slope(x, start), -5 * span, 5 * span, xtol=1e-10)
    left, right = slope(0, start), slope(span, start)
    return {
        "span_m": span,
        "dh_right_minus_left_m": rise,
        "w_n_m": w,
        "H_n": h,
        "sag_mid_m": rise / 2 - height(span / 2),
        "length_m": length,
        "x_low_from_left_m": low,
        "t_left_n": h * math.sqrt(1 + left * left),
        "t_right_n": h * math.sqrt(1 + right * right),
        "v_left_n": -h * left,
        "v_right_n": h * right,
    }


def state_change(rng):
    """Two states of one elastic catenary: S = H L0/EA + (2H/w0) asinh(w0 L0 / 2H), w0 on the unstretched length.

    Loads are given on each metre as it hangs, so w0 L0 = w L, with L from the stretch integrated along it.
    """
    span, ea, alpha = rng.uniform(100, 450), rng.uniform(1.5e7, 6e7), rng.uniform(17e-6, 21e-6)
    w1 = rng.uniform(6, 30)
    h1 = w1 * rng.uniform(900, 2200)
    w2 = w1 * rng.choice([1.0, rng.uniform(1.0, 2.0)])
    t1, t2 = rng.uniform(-10, 25), rng.uniform(-20, 45)

    def fit(h, w, l0):
        w0 = w
        for _ in range(6):
            stretch = 2 * quad(lambda s: math.hypot(h, w0 * s), 0, l0 / 2, epsrel=1e-12)[0] / ea
            w0 = w * (l0 + stretch) / l0
        return h * l0 / ea + 2 * h / w0 * math.asinh(w0 * l0 / (2 * h)) - span

    unstretched = brentq(lambda l0: fit(h1, w1, l0), span * 0.9, span * 1.2, xtol=1e-12)
    warm = unstretched * (1 + alpha * (t2 - t1))
    h2 = brentq(lambda h: fit(h, w2, warm), w2 * span / 6, ea / 50, xtol=1e-9)
    return {
        "span_m": span, "ea_n": ea, "alpha_per_c": alpha, "H1_n": h1, "w1_n_m": w1,
        "t1_c": t1, "w2_n_m": w2, "t2_c": t2, "H2_catenary_n": h2,
    }


def write(path, rows):
    with open(path, "w", newline="") as file:
        table = csv.DictWriter(file, fieldnames=list(rows[0]))
        table.writeheader()
        table.writerows(rows)


def main():
    folder, seed, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    print(f"seed {seed}, {count} rows of each kind")
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    rigs = []
    while len(rigs) < count:
        row = solve(rig(rng, len(rigs) % 2))
        # A link that pushes is a rig that falls over; the project refuses it, so it is no row.
        if row["link_tension_n"] > 1:
            rigs.append(flat(row))
    write(folder / "rigs.csv", rigs)
    write(folder / "spans.csv", [catenary(rng) for _ in range(count)])
    write(folder / "states.csv", [state_change(rng) for _ in range(count)])


if __name__ == "__main__":
    main()
