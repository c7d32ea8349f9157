"""The whole posterior of a small made-up log by Hamiltonian Monte Carlo, to hold the estimator's Gaussian against.

Writes fixtures/posterior/small.json. The law and its priors are written down anew from the formulas in
crates/estimate/src/law.rs; nothing is shared with it. Run `python3 scripts/posterior_by_mcmc.py` with

    numpyro 0.22.0, jax 0.10.2, numpy 2.4.6 (Python 3.11)

The sampler is the no-U-turn sampler: Hoffman and Gelman (2014), Journal of Machine Learning Research 15, 1593. Monte
Carlo errors: effective sample size of Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., section 11.5.
"""

import json
from pathlib import Path

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
from numpyro.diagnostics import effective_sample_size, split_gelman_rubin
from numpyro.infer import MCMC, NUTS, init_to_median

SEED = 20260
CHAINS, WARM_UP, DRAWS = 4, 1500, 5000
# Noise of the made-up rows over what they state: below 1, so that the estimator's residual scale stays at 1.
NOISE_SHARE = 0.75

# What stands in law.rs: means and standard deviations of the priors. [kW] where so named
SQUARED, TURNING = (0.35, 0.25), (0.3, 0.2)
OFFSET_KW = 0.12
AUX_SD = 0.4
BEYOND_KW, BEYOND_VEHICLE_KW, BEYOND_DAY_KW = (0.4, 0.8), 0.2, 0.5
KEY_OFF_KW = (0.15, 0.2)
SHARE, SHARE_LEVEL_SD, SHARE_UNNAMED_SD, SHARE_VEHICLE_SD = (0.95, 0.2), 0.1, 0.3, 0.03
LOAD_FALLS, LOAD_OF_DAY = (0.5, 0.5), 0.25
LEAST_SD = 1e-4

# The sheet of the made-up type: two levels and, as on every sheet, the one that nobody names.
CAPACITY_KWH, EFFICIENCY = 100.0, 0.98
LEVELS = ["low", "high"]
REACH = {"mass_empty_frac": 0.03, "payload_frac": 0.1, "rolling_frac": 0.2, "drag_frac": 0.15, "losses_frac": 0.3,
         "capacity_frac": 0.05}
# Load on the mean, of the gross mass.
LOAD_FRAC = 0.15
VEHICLES, DAYS, WINDOWS = 2, 4, 12
SLOTS = len(LEVELS) + 1

SHARED = ["inertia", "rolling", "aero", "loss", "load", "aux_moving", "aux_standing", "hours", "battery_loss",
          "distance", "recovering", "unseen", "braking", "braking_rolling", "braking_aero", "driven_early"]
OF_LEVEL = ["taken", "converted", "load_back", "by_mass", "by_rolling", "by_aero", "fed", "braked", "taken_early"]
TYPE = ["rolling_resistance", "drag_area", "drive_losses", "losses_with_force_squared", "losses_with_distance",
        "auxiliaries_moving", "auxiliaries_standing", "auxiliaries_beyond_sheet_kw", "drawn_key_off_kw",
        "share_arriving"] + [f"share_at_level {name}" for name in [*LEVELS, "(unknown)"]]
VEHICLE = ["capacity_inverse", "mass", "auxiliaries_of_vehicle_kw", "share_of_vehicle", "sensor_offset_kw",
           "braking_between_samples", "mass_falling_through_day"]


def priors():
    """Mean and standard deviation by name; a half-width of a sheet is a rectangle's."""
    sd = {name: half / np.sqrt(3.0) for name, half in REACH.items()}
    of_type = [(1.0, sd["rolling_frac"]), (1.0, sd["drag_frac"]), (1.0, sd["losses_frac"]), SQUARED, TURNING,
               (1.0, AUX_SD), (1.0, AUX_SD), BEYOND_KW, KEY_OFF_KW, SHARE]
    of_type += [(0.0, SHARE_LEVEL_SD)] * len(LEVELS) + [(0.0, SHARE_UNNAMED_SD)]
    of_vehicle = [(1.0, sd["capacity_frac"]), (1.0, np.hypot(sd["mass_empty_frac"], sd["payload_frac"])),
                  (0.0, BEYOND_VEHICLE_KW), (0.0, SHARE_VEHICLE_SD), (0.0, OFFSET_KW), (0.0, LEAST_SD),
                  (LOAD_FALLS[0] * LOAD_FRAC, LOAD_FALLS[1] * LOAD_FRAC)]
    of_day = [(0.0, BEYOND_DAY_KW), (0.0, max(sd["payload_frac"], LOAD_OF_DAY * LOAD_FRAC))]
    return [np.array(layer) for layer in (of_type, of_vehicle, of_day)]


def window(rng, early):
    """Features of a window of 4 to 9 km of a 7 t truck, in the kWh, h and km of features.rs, by name.

    `early` falls from 1 to -1 through a day.
    """
    km = rng.uniform(4.0, 9.0)
    speed_m_s = rng.uniform(7.0, 15.0)
    moving_h = km / 3.6 / speed_m_s
    standing_h = rng.uniform(0.0, 0.2)
    braked_km = km * rng.uniform(0.08, 0.2)
    rolling = 0.15 * km
    aero = 0.5 * 1.2 * 4.5 * speed_m_s**2 * rng.uniform(1.0, 1.4) * km / 3600.0
    rolling_braking, aero_braking = rolling * braked_km / km, aero * 0.8 * braked_km / km
    braking = km * rng.uniform(0.05, 0.22)
    tractive = braking + rolling + aero + rng.normal(0.0, 0.1)
    x = dict.fromkeys(SHARED, 0.0)
    x |= {"rolling": rolling - rolling_braking, "aero": aero - aero_braking}
    x["inertia"] = tractive - x["rolling"] - x["aero"]
    x |= {"loss": 0.13 * tractive, "load": tractive * rng.uniform(2.0, 5.0), "distance": km - braked_km}
    x |= {"aux_moving": 1.2 * moving_h, "aux_standing": 1.2 * standing_h, "hours": moving_h + standing_h}
    x["unseen"] = rng.uniform(0.05, 0.4) if rng.random() < 0.5 else 0.0
    x |= {"braking": braking, "braking_rolling": rolling_braking, "braking_aero": aero_braking}
    x["driven_early"] = early * (x["inertia"] + x["rolling"] + x["loss"])
    levels = []
    # A driver stays with one level; now and then nobody says which.
    main = rng.choice(SLOTS, p=[0.45, 0.45, 0.1])
    for slot in range(SLOTS):
        part = 0.9 if slot == main else 0.1 * (slot != SLOTS - 1) / (1 + (main == SLOTS - 1))
        taken = part * braking * [0.55, 0.85, 0.7][slot]
        by_mass = taken * (1.0 + aero_braking / braking)
        levels.append({
            "taken": taken, "converted": 0.12 * taken, "load_back": taken * rng.uniform(4.0, 9.0),
            "by_mass": by_mass, "taken_early": early * (by_mass - 0.12 * taken),
            "by_rolling": -taken * rolling_braking / braking,
            "by_aero": -taken * aero_braking / braking, "fed": min(1.2 * 0.15 * moving_h * part, 0.3 * taken),
            "braked": part * braked_km,
        })
    back = sum(level["taken"] - level["converted"] - level["fed"] for level in levels)
    gross = tractive + x["loss"] + x["aux_moving"] + x["aux_standing"]
    x["battery_loss"] = (1.0 / EFFICIENCY - 1.0) * gross + (1.0 - EFFICIENCY) * back
    features = [x[name] for name in SHARED] + [level[name] for level in levels for name in OF_LEVEL]
    return np.array(features), moving_h


def shared(x, name):
    return x[..., SHARED.index(name)]


def level(x, name):
    """One column a level."""
    at = len(SHARED) + OF_LEVEL.index(name)
    return x[..., at::len(OF_LEVEL)]


def scales(x, moving_h):
    """What the law takes from the whole log: see `EnergyLaw`."""
    total = x.sum(axis=0)
    bus = level(total, "taken").sum() - level(total, "converted").sum()
    return {
        "load": shared(total, "loss") / shared(total, "load"),
        "distance": shared(total, "loss") / (shared(total, "distance") + level(total, "braked").sum()),
        "aux_kw": shared(total, "aux_moving") / moving_h.sum(),
        "fed_share": level(total, "fed").sum() / bus,
    }


def unknowns(of_type, of_vehicle, of_day):
    """By name, one value a row."""
    u = {name: of_type[..., at] for at, name in enumerate(TYPE[:10])}
    u["levels"] = of_type[..., 10:]
    u |= {name: of_vehicle[..., at] for at, name in enumerate(VEHICLE)}
    u["mass"] = u["mass"] + of_day[..., 1]
    u["beyond_kw"] = u["auxiliaries_beyond_sheet_kw"] + u["auxiliaries_of_vehicle_kw"] + of_day[..., 0]
    u["share"] = (u["share_arriving"] + u["share_of_vehicle"])[..., None] + u["levels"]
    u["steady"] = 1.0 - u["losses_with_force_squared"] - u["losses_with_distance"]
    return u


def bus_by_level(u, x, scale):
    """Returned at the bus. [kWh]"""
    one = {name: value[..., None] for name, value in u.items() if name not in ("levels", "share")}
    wheel = (level(x, "taken") + one["mass_falling_through_day"] * level(x, "taken_early")
             + (one["mass"] - 1) * level(x, "by_mass")
             + (one["rolling_resistance"] - 1) * level(x, "by_rolling") + (one["drag_area"] - 1) * level(x, "by_aero"))
    lost = one["drive_losses"] * (
        one["steady"] * one["mass"] * level(x, "converted")
        + one["losses_with_force_squared"] * scale["load"] * one["mass"] ** 2 * level(x, "load_back")
        + one["losses_with_distance"] * scale["distance"] * level(x, "braked"))
    return u["share"] * (1 + one["braking_between_samples"]) * (wheel - lost)


def net(u, x, scale):
    """Net energy at the terminals. [kWh]"""
    wheels = (u["mass"] * (shared(x, "inertia") + u["rolling_resistance"] * shared(x, "rolling"))
              + u["drag_area"] * shared(x, "aero") + u["mass_falling_through_day"] * shared(x, "driven_early"))
    lost = u["drive_losses"] * (
        u["steady"] * u["mass"] * shared(x, "loss")
        + u["losses_with_force_squared"] * scale["load"] * u["mass"] ** 2 * shared(x, "load")
        + u["losses_with_distance"] * scale["distance"] * shared(x, "distance"))
    auxiliaries = (u["auxiliaries_moving"] * shared(x, "aux_moving")
                   + u["auxiliaries_standing"] * shared(x, "aux_standing") + u["beyond_kw"] * shared(x, "hours"))
    unseen = u["braking_between_samples"] * shared(x, "braking")
    return wheels + lost + auxiliaries + unseen - bus_by_level(u, x, scale).sum(-1)


def drawn(u, x, scale):
    """Drawn from the store, in kWh of the sheet's capacity."""
    battery = net(u, x, scale) + shared(x, "battery_loss") + u["drawn_key_off_kw"] * shared(x, "unseen")
    return u["capacity_inverse"] * battery


def recovered_by_level(u, x, scale):
    """Recovered at the terminals: what auxiliaries take of the return goes like 1 - exp(-load). [kWh]"""
    factor = jnp.maximum(u["auxiliaries_moving"] + u["beyond_kw"] / scale["aux_kw"], 0.0)
    growth = (1.0 - (1.0 - scale["fed_share"]) ** factor) / scale["fed_share"]
    return bus_by_level(u, x, scale) - growth[..., None] * u["share"] * level(x, "fed")


def made(rng):
    """A log: features, what was drawn and its error, where each row belongs, hours moving."""
    rows = [window(rng, 1.0 - 2.0 * (at + 0.5) / WINDOWS) for _ in range(VEHICLES * DAYS) for at in range(WINDOWS)]
    x, moving_h = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    day = np.repeat(np.arange(VEHICLES * DAYS), WINDOWS)
    truth = [prior[:, 0] + prior[:, 1] * rng.normal(size=(count, len(prior)))
             for prior, count in zip(priors(), (1, VEHICLES, VEHICLES * DAYS))]
    u = unknowns(truth[0][0], truth[1][day // DAYS], truth[2][day])
    value = np.asarray(drawn(u, x, scales(x, moving_h)))
    noise = np.sqrt((0.03 * value) ** 2 + 0.03**2 + 0.08**2)
    value = value + NOISE_SHARE * noise * rng.normal(size=len(value))
    return {"x": x, "moving_h": moving_h, "day": day, "value": value, "noise": noise}


def model(log, scale):
    layers = priors()
    counts = (), (VEHICLES,), (VEHICLES * DAYS,)
    of_type, of_vehicle, of_day = (
        prior[:, 0] + prior[:, 1] * numpyro.sample(name, dist.Normal(0.0, 1.0).expand([*count, len(prior)]).to_event())
        for name, prior, count in zip(("type", "vehicle", "day"), layers, counts))
    for name, unknown in (("of_type", of_type), ("of_vehicle", of_vehicle), ("of_day", of_day)):
        numpyro.deterministic(name, unknown)
    u = unknowns(of_type, of_vehicle[log["day"] // DAYS], of_day[log["day"]])
    mean = drawn(u, log["x"], scale)
    numpyro.deterministic("squares", jnp.sum(((log["value"] - mean) / log["noise"]) ** 2))
    numpyro.sample("value", dist.Normal(mean, log["noise"]), obs=log["value"])
    numpyro.deterministic("recovered", recovered(log, scale, of_type, of_vehicle))


def recovered(log, scale, of_type, of_vehicle):
    """What each vehicle recovered at each level, days being like any other. [kWh]"""
    totals = jnp.stack([log["x"][log["day"] // DAYS == at].sum(0) for at in range(VEHICLES)])
    return recovered_by_level(unknowns(of_type, of_vehicle, jnp.zeros((VEHICLES, 2))), totals, scale)


def mode(log, scale, start):
    """Unknowns of type, vehicles and days where the posterior is densest: Newton's method on its logarithm."""
    layers, counts = priors(), (1, VEHICLES, VEHICLES * DAYS)
    ends = np.cumsum([count * len(prior) for count, prior in zip(counts, layers)])

    def split(flat):
        parts = jnp.split(flat, ends[:-1])
        return [part.reshape(count, len(prior)) for part, count, prior in zip(parts, counts, layers)]

    def surprise(flat):
        of_type, of_vehicle, of_day = split(flat)
        u = unknowns(of_type[0], of_vehicle[log["day"] // DAYS], of_day[log["day"]])
        off = (log["value"] - drawn(u, log["x"], scale)) / log["noise"]
        away = [(part - prior[:, 0]) / prior[:, 1] for part, prior in zip((of_type, of_vehicle, of_day), layers)]
        return 0.5 * (jnp.sum(off**2) + sum(jnp.sum(part**2) for part in away))

    flat = jnp.concatenate([part.ravel() for part in start])
    for _ in range(20):
        flat = flat - jnp.linalg.solve(jax.hessian(surprise)(flat), jax.grad(surprise)(flat))
    width = jnp.sqrt(jnp.diag(jnp.linalg.inv(jax.hessian(surprise)(flat))))
    assert jnp.all(jnp.abs(jax.grad(surprise)(flat)) * width < 1e-9), "no mode was found"
    return [np.asarray(part) for part in split(flat)]


def summary(draws, at_mode):
    """Of one figure: draws by chain, and its value where the posterior is densest."""
    p05, p50, p95 = np.quantile(draws, [0.05, 0.5, 0.95])
    size = effective_sample_size(draws)
    agreement = split_gelman_rubin(draws)
    assert agreement < 1.01, f"the chains disagree: {agreement}"
    sd = draws.std()
    return {"mode": at_mode, "mean": draws.mean(), "sd": sd, "mean_mcse": sd / np.sqrt(size), "p05": p05, "p50": p50, "p95": p95}


def plain(value):
    """Numbers as they are written: twelve digits."""
    if isinstance(value, dict):
        return {key: plain(of) for key, of in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(of) for of in value]
    return float(f"{float(value):.12g}") if isinstance(value, (float, np.floating)) else value


def main():
    jax.config.update("jax_enable_x64", True)
    log = made(np.random.default_rng(SEED))
    log = {name: np.array(plain(list(column))) if column.ndim == 1 else np.array([plain(list(row)) for row in column])
           for name, column in log.items()}
    scale = scales(log["x"], log["moving_h"])
    sampler = MCMC(NUTS(model, dense_mass=True, target_accept_prob=0.9, init_strategy=init_to_median),
                   num_warmup=WARM_UP, num_samples=DRAWS, num_chains=CHAINS, chain_method="vectorized",
                   progress_bar=False)
    sampler.run(jax.random.PRNGKey(SEED), log, scale)
    draws = {name: np.asarray(of) for name, of in sampler.get_samples(group_by_chain=True).items()}
    diverged = int(np.asarray(sampler.get_extra_fields()["diverging"]).sum())
    assert diverged == 0, f"{diverged} draws diverged"
    means = [draws[name].mean((0, 1)) for name in ("of_type", "of_vehicle", "of_day")]
    type_mode, vehicle_mode, _ = mode(log, scale, means)
    recovered_mode = np.asarray(recovered(log, scale, type_mode[0], vehicle_mode))
    names = [f"v{at + 1}" for at in range(VEHICLES)]
    spread = {
        "type": {name: summary(draws["of_type"][..., at], type_mode[0, at]) for at, name in enumerate(TYPE)},
        "vehicles": {vehicle: {name: summary(draws["of_vehicle"][..., place, at], vehicle_mode[place, at])
                               for at, name in enumerate(VEHICLE)} for place, vehicle in enumerate(names)},
        "recovered_kwh": {vehicle: [summary(draws["recovered"][..., place, slot], recovered_mode[place, slot])
                                    for slot in range(SLOTS)] for place, vehicle in enumerate(names)},
    }
    rows = [{"vehicle": names[day // DAYS], "day": f"day {day % DAYS + 1}", "drawn_kwh": value, "noise_kwh": noise,
             "moving_h": hours, "features": list(x)}
            for x, hours, day, value, noise in zip(log["x"], log["moving_h"], log["day"].astype(int), log["value"],
                                                   log["noise"])]
    sheet = {"capacity_kwh": CAPACITY_KWH, "battery_efficiency": EFFICIENCY, "levels": LEVELS,
             "reach": REACH | {"load_frac": LOAD_FRAC}}
    sampled = {"library": f"numpyro {numpyro.__version__}, jax {jax.__version__}", "seed": SEED, "chains": CHAINS,
               "draws_per_chain": DRAWS, "least_squares_weighted": draws["squares"].min()}
    out = Path(__file__).resolve().parent.parent / "fixtures" / "posterior" / "small.json"
    heads = {"sampled": sampled, "sheet": sheet, "posterior": spread}
    body = ",\n".join(f" {json.dumps(name)}: {json.dumps(plain(of), indent=1)}" for name, of in heads.items())
    lines = ",\n".join("  " + json.dumps(plain(row)) for row in rows)
    out.write_text(f"{{\n{body},\n \"rows\": [\n{lines}\n ]\n}}\n")


main()
