"""The instructions themselves, one per kind of record.

Takes nothing; gives `INSTRUCTIONS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tuner.records import Kind
from tuner.wording.cautions import cautions_for


@dataclass(frozen=True, slots=True)
class Instruction:
    """How to make one kind of test.

    answers: what it tells and what it cannot tell; need, steps, note_down, spoils: one short line each; repeats: how
    often; file: what the file must hold; example: a command that runs on the sample files.
    """

    kind: Kind
    title: str
    answers: str
    need: tuple[str, ...]
    steps: tuple[str, ...]
    repeats: str
    note_down: tuple[str, ...]
    spoils: tuple[str, ...]
    file: str
    example: str

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions that belong to this test."""
        return cautions_for([self.kind])


_BENCH_NOTES = (
    "temperature of the damper body before and after",
    "oil, its viscosity at 40 °C (cSt, not only its 'weight'), its quantity",
    "clicks, shims, gas pressure",
    "stroke, and which way is in",
)

_REAR = "--machine sample_data/dune_hopper.toml --corner 'rear left'"

INSTRUCTIONS: Mapping[Kind, Instruction] = {
    "sweep": Instruction(
        kind="sweep",
        title="Bench sweep: the highest force at each speed",
        answers=(
            "Tells compression and rebound damping at the tested speeds. Does not tell friction, dead stroke or "
            "lag: they hide inside the peak forces. Ask the shop for the whole trace (a cycle file) if it has one."
        ),
        need=("a shop with a damper bench", "the damper without its spring"),
        steps=(
            "Stroke the damper ten times by hand to clear air from the valves.",
            "Run it until the body is hand-warm, and keep to that temperature.",
            "Measure 0.05, 0.13, 0.26, 0.52 and, if the bench can, 1.04 m/s (2, 5, 10, 20, 41 in/s).",
            "Write down the highest force going in and the highest coming out, one row for each speed.",
            "At home push the shaft in very slowly over a bathroom scale and read it, let it come back slowly and read "
            "it again: that tells the friction (--set push='130 N' --set return='110 N').",
        ),
        repeats="Twice, with the damper taken off and mounted again in between: that shows how far two runs differ.",
        note_down=_BENCH_NOTES,
        spoils=(
            "a cold damper before and a warm one after the change",
            "forces with the gas force taken off in one file and left in in the other",
            "fewer than three speeds",
        ),
        file="One row per speed: speed, force in compression, force in rebound, each with its unit.",
        example="tuner fit sample_data/front_left_thin_oil.csv",
    ),
    "cycle": Instruction(
        kind="cycle",
        title="Bench cycles: the whole trace while the damper is stroked",
        answers=(
            "Tells the most: both sides over speed, gas force, friction, dead stroke (air or too little oil), lag and "
            "fading. Does not tell how the machine feels: that takes the corner's mass and spring."
        ),
        need=(
            "a shop with a damper bench that records time, travel and force",
            "the damper without its spring",
        ),
        steps=(
            "Stroke the damper ten times by hand, then run it until it is hand-warm.",
            "First very slowly, 0.005 to 0.01 m/s: this shows gas force and friction.",
            "Then at peak speeds of 0.05, 0.13, 0.26, 0.52 and 1.04 m/s, at least five cycles at each.",
            "Record at 200 samples a second or more, and let the file run on without a break.",
        ),
        repeats="Twice, with the damper taken off and mounted again in between.",
        note_down=_BENCH_NOTES,
        spoils=(
            "a smoothing filter in the recorder (it looks like lag)",
            "a load cell that runs into its limit",
            "play in the mounts (it looks like dead stroke)",
        ),
        file="Columns time, travel (displacement) and force with units; several speeds one below the other.",
        example="tuner fit sample_data/rear_left_before_run1.csv",
    ),
    "weights": Instruction(
        kind="weights",
        title="Hung weights: a scale, a tape and a phone in slow motion",
        answers=(
            "Tells the damping at the slow speeds that a hung weight reaches, each side apart. Does not tell the "
            "damping on sharp bumps, which are faster."
        ),
        need=(
            "the damper without its spring, a strong beam and a vice",
            "four or more weights, weighed on a scale (5 to 60 kg, 10 to 130 lb)",
            "a tape, and a phone that films at 120 or 240 frames a second",
            "a bathroom scale for the slow push",
        ),
        steps=(
            "Spring off, shaft vertical, guide for the weight in place, nobody below it.",
            "Push the shaft in very slowly over the scale and read it; let it come back slowly and read it again.",
            "Coming out: hang the damper by its body, the weight from the shaft. Going in: stand it, weight on top.",
            "Film a tape beside the shaft. Let go, and count the frames between two marks in the middle of the stroke.",
            "Do it with at least four weights for each side; the lightest should sink in a few seconds.",
        ),
        repeats="Three times for each weight.",
        note_down=(
            "mass, distance, time or frames, which way it moved",
            "the two scale readings of the slow push and the slow return",
            "the frame rate, and the mass of hanger and shaft",
            "temperature, oil, clicks, shims",
        ),
        spoils=(
            "marks too near the start: the weight is still gathering speed",
            "a shaft out of plumb (friction)",
            "counting fewer than ten frames",
        ),
        file=(
            "One row per drop: mass, distance, time (or frames), direction; slow push and return as rows of their own."
        ),
        example="tuner fit sample_data/front_left_hung_weights.csv",
    ),
    "bounce": Instruction(
        kind="bounce",
        title="Bounce: push one end down and let go, with a phone over the axle",
        answers=(
            "Tells the damping ratio of the corner as it stands, both sides with both starts, its frequency and "
            "friction. Does not tell the damping at the high speeds of sharp bumps."
        ),
        need=(
            "a phone with an app that saves its accelerometer as CSV, 100 samples a second or more",
            "tape, a helper",
        ),
        steps=(
            "Level ground, engine off, tyres at riding pressure, driver's weight in the seat if you ride with it.",
            "Tape the phone flat to the frame over the middle of the axle. It may lie any way round.",
            "Start recording and keep everything still for three seconds.",
            "Push that END down as far as you can, both corners together, and let go at once. Wait until it is still.",
            "Do that six times. Then lift the end and drop it six times: that shows the other side first.",
        ),
        repeats="Six bounces of each sort in one recording; a second recording after a short drive is better still.",
        note_down=(
            "which end, who sat in the machine",
            "tyre pressures, clicks, oil, temperature",
            "mass on that end (scales under both wheels), unsprung mass if known",
        ),
        spoils=(
            "holding on after letting go, or bouncing in rhythm",
            "wheels that leave the ground when lifting (lift less)",
            "engine running, soft ground, a phone that slides",
            "brakes on: let the wheels roll a little",
        ),
        file="Time and acceleration (three axes, gravity in or out), or time and shaft travel.",
        example=f"tuner fit sample_data/bounce_rear_before.csv {_REAR}",
    ),
    "travel": Instruction(
        kind="travel",
        title="Driving trace: a travel sensor on the damper",
        answers=(
            "Tells how fast the shaft moves on your ground, whether it bottoms, tops out or packs down. Does not tell "
            "the damping itself: ground and driver are in it too."
        ),
        need=(
            "a linear travel sensor or a string sensor with a logger, 200 samples a second or more",
            "cable ties",
        ),
        steps=(
            "Fix the sensor parallel to the damper, at the same two ends, so that it never reaches its own stop.",
            "Note its reading with the shaft all the way out and at one measured length: two points calibrate it.",
            "Stand still for five seconds, drive, stand still for five seconds.",
            "Drive the same line at the same pace before and after the change, with at least three rows of bumps.",
        ),
        repeats="Three runs before and three after.",
        note_down=(
            "ground, pace, driver",
            "clicks, oil, spring and preload, tyre pressures",
            "damper temperature after the run",
        ),
        spoils=(
            "another line or another pace",
            "a sensor that slips or hits its stop",
            "runs of less than a minute",
        ),
        file="Time and travel; travel in mm or in, or volts or counts with two calibration points.",
        example=f"tuner fit sample_data/drive_rear_before.csv {_REAR}",
    ),
    "flight": Instruction(
        kind="flight",
        title="Jump: a phone strapped to the frame",
        answers=(
            "Tells time in the air, pitch rate, how far it turned and how hard it landed. Does not tell the damping: "
            "it shows whether a change did what you wanted."
        ),
        need=(
            "a phone with an app that saves accelerometer AND gyroscope as CSV",
            "a strap that does not give",
        ),
        steps=(
            "Strap the phone tight to the frame near the middle of the machine. It may lie any way round.",
            "Start recording. Stand still for three seconds.",
            "Lift the nose once by hand, a hand's breadth or more, and set it down: this tells which way is up.",
            "Stand still again for three seconds, then make the jump: small first, straight, at a steady speed.",
        ),
        repeats="Three jumps before and three after, same speed, same line.",
        note_down=("speed at the lip", "ramp, line, driver", "clicks, oil, tyre pressures"),
        spoils=(
            "throttle or brake in the air (it turns the machine)",
            "another speed",
            "a phone in a pocket",
        ),
        file="Time, three accelerations with gravity in, three rotation rates.",
        example="tuner fit sample_data/jump_before.csv",
    ),
}
