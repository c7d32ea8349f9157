"""The SVGs of the method pages. Nothing is told by colour alone; colours follow a dark page where the reader has one."""

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt

PAPER, INK, QUIET, FIRST, SECOND = "#ffffff", "#222222", "#9a9a9a", "#1f5f8b", "#c2571a"
DARK = {PAPER: "#16181b", INK: "#e6e6e6", QUIET: "#7d828a", FIRST: "#6fb3e0", SECOND: "#f0935a"}
# Seconds of the trip that is drawn.
SHOWN_S = (300, 480)
LIMITS = [
    ("braking_beyond_axle_kwh", "gain_without_axle_kwh", "axle"),
    # Lifted together with the level.
    ("braking_beyond_blending_kwh", None, "blending of the pedal"),
    ("braking_in_fade_kwh", "gain_without_fade_kwh", "fade at low speed"),
    ("braking_beyond_level_kwh", "gain_without_level_kwh", "level below the strongest"),
    ("braking_beyond_torque_kwh", "gain_without_torque_kwh", "motor torque"),
    ("braking_beyond_power_kwh", "gain_without_power_kwh", "motor power"),
    ("braking_beyond_acceptance_kwh", "gain_without_acceptance_kwh", "battery acceptance"),
    ("braking_converted_kwh", "gain_without_losses_kwh", "conversion losses"),
    ("braking_to_auxiliaries_kwh", "gain_without_auxiliaries_kwh", "auxiliaries, fed first"),
]

plt.rcParams.update({
    "svg.hashsalt": "backwatt", "svg.fonttype": "none", "font.family": "sans-serif", "font.size": 9,
    "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": QUIET, "axes.labelcolor": INK,
    "xtick.color": QUIET, "ytick.color": QUIET, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
    "legend.frameon": False, "axes.titlesize": 9, "axes.titlelocation": "left", "text.color": INK,
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "hatch.linewidth": 0.7,
})


def passenger_ev(path, by_stops, with_heater, seconds):
    figure, (left, right) = plt.subplots(1, 2, figsize=(8.6, 3.0), width_ratios=[1.5, 1], layout="constrained")
    shown = range(*SHOWN_S)
    for column, color, style, label in (("measured_w", INK, "-", "measured"), ("modelled_w", SECOND, "--", "modelled")):
        left.plot(shown, [float(seconds[at][column]) / 1000 for at in shown], style, color=color, lw=1.1, label=label)
    left.axhline(0, color=QUIET, lw=0.6)
    left.set(title="Pack power, TripB29, one-second means", xlabel="s", ylabel="kW, positive leaves the battery")
    left.set_ylim(top=82)
    left.legend(loc="upper left", ncols=2)
    kinds = ((-0.17, by_stops, "o", FIRST, "auxiliaries as at stops"), (0.17, with_heater, "s", SECOND, "heater as logged"))
    for offset, table, mark, color, label in kinds:
        places = [("TripB" in row["trip"]) + offset for row in table]
        bias = [float(row["bias_kw"]) for row in table]
        right.plot(places, bias, mark, ms=4, alpha=0.6, mew=0, color=color, label=label)
    right.axhline(0, color=QUIET, lw=0.6)
    right.set(title="Bias per trip", ylabel="modelled less measured, kW", xlim=(-0.6, 1.6))
    right.set_ylim(top=2.4)
    right.set_xticks([0, 1], ["summer", "winter"])
    right.legend(loc="upper left", handletextpad=0.2)
    save(figure, path)


def trolleybus(path, steps, slopes):
    figure, axes = plt.subplots(2, 2, figsize=(8.6, 6.0), layout="constrained")
    felt, logged = ([100 * slope[side] for slope in slopes] for side in ("felt", "logged"))
    first = axes[0, 0]
    first.axline((0, 0), slope=1, color=QUIET, lw=0.8)
    first.plot(felt, logged, "o", ms=3, alpha=0.5, mew=0, color=FIRST)
    first.set(title=f"Slope at {len(slopes)} places driven both ways", xlabel="as the motors felt it, %", ylabel="from altitude, %")
    first.set(xlim=(-3.2, 9.2), ylim=(-3.6, 8))
    motor = [step["motor_kwh"] for step in steps]
    most = max(motor)
    half = sum(step["half_band_kwh"] for step in steps) / sum(step["ledger_kwh"] for step in steps)
    residuals = (
        (axes[0, 1], "ledger_kwh", "Braking, as the ledger has it"), (axes[1, 0], "by_slope_kwh", "Slope as the motors felt it"),
        (axes[1, 1], "by_road_kwh", "Slope and road load as the motors felt them"),
    )
    for axis, column, title in residuals:
        axis.fill_between([0, most], [0, -half * most], [0, half * most], color=QUIET, alpha=0.4, lw=0,
                          label=f"mass: ±{100 * half:.1f} %")
        axis.axhline(0, color=QUIET, lw=0.6)
        axis.plot(motor, [step[column] - step["motor_kwh"] for step in steps], "o", ms=3, alpha=0.5, mew=0, color=FIRST)
        axis.set(title=title, xlabel="braking work of the motors, kWh", ylabel="ledger less motors, kWh", ylim=(-0.16, 0.29))
        axis.legend(loc="upper right")
    save(figure, path)


def smoothed_stop(path, seconds):
    figure, (speed, error, power) = plt.subplots(
        3, 1, figsize=(8.6, 5.6), height_ratios=[2, 1, 2], sharex=True, layout="constrained"
    )
    at = [row["second"] + 0.5 for row in seconds]
    kinds = (
        ("true", "true", {"color": QUIET, "lw": 4, "alpha": 0.6}, {}),
        ("raw", "as logged", {"color": SECOND, "lw": 0.9, "ls": "--"}, {"marker": "o", "ms": 2.5}),
        ("smoothed", "smoothed", {"color": FIRST, "lw": 1.4}, {}),
    )
    for kind, label, line, mark in kinds:
        speed.plot(at, [row[f"{kind}_m_s"] for row in seconds], label=label, **line, **mark)
        error.plot(at, [row[f"{kind}_m_s"] - row["true_m_s"] for row in seconds], **line, **mark)
        power.plot(at, [row[f"{kind}_w"] / 1000 for row in seconds], drawstyle="steps-mid", **line)
    speed.set(title="A stop of udds seen with 0.1 m/s of noise: speed", ylabel="m/s")
    error.set(title="Speed less true speed", ylabel="m/s")
    power.set(title="Braking power at the wheels of a truck of 6.6 t", xlabel="s", ylabel="kW")
    speed.legend(loc="lower left")
    save(figure, path)


def cascade(path, joules):
    kj = {name: value / 1000 for name, value in joules.items()}
    recoverable = kj["energy_recoverable_kwh"]
    braking = recoverable + sum(kj[taken] for taken, _, _ in LIMITS)
    figure, (left, right) = plt.subplots(1, 2, figsize=(8.6, 4.2), width_ratios=[2.2, 1], sharey=True, layout="constrained")
    names = ["braking at the wheels", *(name for _, _, name in LIMITS), "recoverable at the terminals"]
    left.barh(0, braking, color=FIRST)
    beside(left, braking, 0, f"{braking:.0f}")
    rest = braking
    for row, (taken, gain, _) in enumerate(LIMITS, start=1):
        rest -= kj[taken]
        left.barh(row, rest, color=FIRST)
        left.barh(row, kj[taken], left=rest, facecolor=PAPER, edgecolor=SECOND, hatch="////", lw=0.8)
        beside(left, rest + kj[taken], row, f"−{kj[taken]:.0f}")
        right.barh(row, kj.get(gain, 0), facecolor=PAPER, edgecolor=FIRST, hatch="\\\\\\\\", lw=0.8)
        beside(right, kj.get(gain, 0), row, f"{kj[gain]:.0f}" if gain else "with the level")
    left.barh(len(names) - 1, recoverable, color=FIRST)
    beside(left, recoverable, len(names) - 1, f"{recoverable:.0f}")
    left.set_yticks(range(len(names)), names)
    left.invert_yaxis()
    left.set(title="What each limit takes, in order, kJ", xlim=(0, braking * 1.1), xticks=[])
    right.set(title="Lifted alone it brings, kJ", xlim=(0, 1.2 * max(kj[gain] for _, gain, _ in LIMITS if gain)), xticks=[])
    for axis in (left, right):
        axis.tick_params(length=0)
        axis.spines["bottom"].set_visible(False)
    save(figure, path)


def beside(axis, x, y, text):
    axis.annotate(text, (x, y), xytext=(4, 0), textcoords="offset points", va="center")


def save(figure, path):
    figure.savefig(path, metadata={"Date": None, "Creator": None})
    plt.close(figure)
    svg = path.read_text(encoding="utf-8")
    start = svg.index(">", svg.index("<svg ")) + 1
    path.write_text(svg[:start] + "\n " + dark_style() + svg[start:], encoding="utf-8")
    print(f"wrote {path.parent.name}/{path.name}")


def dark_style():
    """Repaints on a dark page; the colours as drawn stay where a viewer knows no such pages."""
    rules = (
        f'[style*="{what}: {light}"] {{ {what}: {dark} !important }}'
        for light, dark in DARK.items() for what in ("fill", "stroke")
    )
    # The ground of a hatch is an attribute, not a style.
    rules = [*rules, f'[fill="{PAPER}"] {{ fill: {DARK[PAPER]} }}']
    return "<style>@media (prefers-color-scheme: dark) { " + " ".join(rules) + " }</style>"
