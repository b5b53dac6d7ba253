"""Write every sample file anew, the same each time: `python -m sample_data.make_samples [--folder DIR]`.

Takes the scenario; gives the files of this folder, README.md and dune_hopper.toml apart (those are written
by hand). Uses: scenario, bench_model, file_styles, phone_scenario. The draws come from numpy's frozen legacy
generator, so that another release of numpy gives the same numbers.
"""

from __future__ import annotations

import argparse
import json
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from sample_data import file_styles as styles
from sample_data.bench_model import Bench, Trace, simulate_cycles, simulate_sweep, simulate_weights
from sample_data.damper_model import Damper, steady_loops
from sample_data.phone_scenario import phone_files
from sample_data.random_dampers import remounted
from sample_data.scenario import SETTINGS, THICK_OIL, THIN_OIL, truth

SEED = 20_250
SPEEDS = (0.008, 0.05, 0.13, 0.26, 0.52, 1.04)
CYCLES = (2, 2, 4, 6, 8, 10)
STROKE = 0.080
SWEEP_SPEEDS = (0.05, 0.09, 0.13, 0.20, 0.26, 0.39, 0.52, 0.78, 1.04)

SHED_9 = Bench(force_offset=2.0, crank_ratio=0.08)
SECOND_BENCH = Bench(force_noise=2.2, force_quantum=1.0, travel_quantum=5e-5, jitter=0.0, force_offset=-3.0)


def _random(name: str) -> Any:
    """Give a generator for that file: its own stream, so that one file can change without the others."""
    return np.random.RandomState(SEED + zlib.crc32(name.encode()))


def _cycles(name: str, damper: Damper, bench: Bench, rate: float, loops: dict[Any, Any]) -> list[Trace]:
    key = (damper, bench.crank_ratio)
    if key not in loops:
        n = len(SPEEDS)
        loops[key] = steady_loops([damper] * n, SPEEDS, [STROKE] * n, [bench.crank_ratio] * n)
    rng = _random(name)
    mounted = remounted(damper, rng)
    return simulate_cycles(mounted, SPEEDS, STROKE, rate, CYCLES, rng, bench, loops[key])


def sample_files() -> dict[str, bytes]:
    """Give the content of every made file by its name."""
    files: dict[str, bytes] = {}
    loops: dict[Any, Any] = {}
    states = (
        ("before", "rear left before", 24, 8.5),
        ("after_draining", "rear left after draining", 26, 5.4),
    )
    for state, setting, temperature, pressure in states:
        for run in (1, 2):
            name = f"rear_left_{state}_run{run}.csv"
            title = [
                "Shed 9 damper bench,Halvik",
                "Machine,Dune Hopper No. 4",
                f"Damper,rear left - {state.replace('_', ' ')} - mounting {run}",
                f"Oil temperature,{temperature} degC",
                "Stroke,80 mm",
                f"Gas pressure,{pressure} bar",
            ]
            traces = _cycles(name, SETTINGS[setting], SHED_9, 250.0, loops)
            files[name] = styles.shop_cycles(traces, title)

    name = "pair_rear_left.csv"
    title = ["Banc d'essai - atelier deux", "Amortisseur : arrière gauche, d'origine", "Température : 22 °C"]
    traces = _cycles(name, SETTINGS["rear left before"], SECOND_BENCH, 250.0, loops)
    files[name] = styles.french_cycles(traces, title)

    name = "pair_rear_right.csv.gz"
    title = ["Amortiguador trasero derecho", "Fuerza positiva: tracción", "Temperatura: 22 °C"]
    traces = _cycles(name, SETTINGS["rear right"], replace(SECOND_BENCH, jitter=0.03), 400.0, loops)
    files[name] = styles.spanish_cycles(traces, title, length=0.210)

    for oil, name in ((THICK_OIL, "front_left_thick_oil.csv"), (THIN_OIL, "front_left_thin_oil.csv")):
        thick = oil == THICK_OIL
        damper = SETTINGS["front left thick oil" if thick else "front left thin oil"]
        rng = _random(name)
        velocity, force = simulate_sweep(remounted(damper, rng), SWEEP_SPEEDS, rng)
        if thick:
            title = ["Dune Hopper No. 4, front left", f"Oil {oil:.0f} cSt at 40 degC", "Damper at 75 degF"]
            files[name] = styles.us_sweep(velocity, force, title)
        else:
            title = ["Prüfstand Schuppen 9", "Dämpfer: vorne links"]
            title += [f"Öl: {oil:.0f} cSt bei 40 °C", "Temperatur: 23,5 °C"]
            files[name] = styles.german_sweep(velocity, force, title)

    name = "front_left_hung_weights.csv"
    masses = (16.0, 20.0, 25.0, 30.0, 36.0, 42.0, 48.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
    drops = simulate_weights(
        SETTINGS["front left thin oil"],
        masses,
        [1] * 7 + [-1] * 7,
        _random(name),
        moving_mass=1.4,
        frame_rate=240.0,
    )
    title = [
        "Dune Hopper No. 4, front left, thin oil; spring off, shaft vertical, two tape marks",
        "Rod and hanger: 1.4 kg, not in the masses",
        "Camera: 240 frames per second",
    ]
    files[name] = styles.weights_table(drops, title, frame_rate=240.0)
    files["truth.json"] = (json.dumps(truth(), indent=1) + "\n").encode()
    return files


def main() -> None:
    """Write the files."""
    parser = argparse.ArgumentParser(description="Write the sample files anew.")
    parser.add_argument("--folder", type=Path, default=Path(__file__).parent)
    folder = parser.parse_args().folder
    for name, content in (sample_files() | phone_files()).items():
        (folder / name).write_bytes(content)
        print(f"{name:36s} {len(content) / 1e3:8.1f} kB")


if __name__ == "__main__":
    main()
