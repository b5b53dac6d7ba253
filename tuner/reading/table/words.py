"""Words that name columns, sides and directions, in English, German, French and Spanish.

Data only. Takes nothing; gives the roles that columns can play, with the kind of unit that each needs and the
words that name it. A phrase of several words needs all of them. Accents, case and order do not count.
"""

from __future__ import annotations

from typing import NamedTuple


class Role(NamedTuple):
    """What a column can be: the kind of its unit ("words" for text, "number" for a bare count), its words."""

    kind: str
    words: tuple[str, ...]
    side: str = ""  # "compression" or "rebound": the header must name that side too
    meaning: str = ""


def phrases(text: str) -> tuple[str, ...]:
    """Give the phrases of a list with commas."""
    return tuple(phrase.strip() for phrase in text.split(",") if phrase.strip())


COMPRESSION = frozenset(
    phrases(
        "compression, comp, compr, cmp, bump, jounce, druck, druckstufe, druckrichtung, einfedern, "
        "einfederung, einfahren, einschub, compresion, enfoncement, enfoncer, entrada, hundimiento, stauchung"
    )
)
REBOUND = frozenset(
    phrases(
        "rebound, reb, extension, ext, extending, zug, zugstufe, zugrichtung, ausfedern, ausfederung, "
        "ausfahren, detente, rebote, traccion, rebond, tension, salida, auszug"
    )
)
# words that may stand beside a name without changing what it means
FILLERS = frozenset(
    phrases(
        "the, of, a, an, de, la, le, les, du, des, der, die, das, den, dem, del, el, los, las, in, en, and, "
        "und, et, y, damper, shock, absorber, dampfer, daempfer, stossdampfer, amortisseur, amortiguador, "
        "shaft, rod, piston, kolben, kolbenstange, tige, vastago, piston, signal, channel, ch, sensor, "
        "measured, gemessen, mesure, mesuree, medido, medida, actual, ist, raw, value, wert, valeur, valor, "
        "test, bench, prufstand, banc, banco, data, col, column"
    )
)
# words that make a name mean something else: such a column is used only when the user says so
OTHERS = frozenset(
    phrases(
        "wheel, roue, rueda, gas, gaz, friction, reibung, frottement, friccion, spring, feder, ressort, "
        "muelle, tyre, tire, reifen, target, set, setpoint, soll, sollwert, command, commanded, cmd, demand, "
        "consigne, nominal, error, abweichung, fehler, erreur, temperature, temperatur, temperatura, temp, "
        "pressure, pression, presion, filtered, gefiltert, filtre, filtrado, offset, static, statisch, "
        "statique, estatico, mean, average, avg, mittel, moyenne, media, std, sd, deviation, sigma, servo, "
        "drive, motor, current, strom, voltage, spannung, frequency, frequenz"
    )
)
# words that may stand beside a side where a sweep gives the highest force of it
PEAK = frozenset(
    phrases(
        "peak, peaks, max, maximum, maximal, maxi, highest, fmax, spitze, spitzenwert, hochst, hochstwert, pic, crete, "
        "pico, maximo, maxima, maximale"
    )
)
# words by which a column is known to be of no use here
UNUSED = frozenset(
    phrases(
        "index, idx, sample, samples, row, zeile, ligne, fila, date, datum, fecha, status, flag, id, counter, "
        "no, nr, num, number, numero, anzahl, count"
    )
)
# words of columns that tell settings or dampers apart
STATES = frozenset(
    phrases(
        "click, clicks, setting, damper, corner, run, test, oil, side, position, einstellung, dampfer, klicks, "
        "versuch, essai, reglage, amortisseur, clics, ensayo, ajuste, amortiguador"
    )
)

_SPEED = phrases(
    "velocity, speed, v, vel, geschwindigkeit, kolbengeschwindigkeit, dampfergeschwindigkeit, vitesse, velocidad,"
    " rapidez, tempo, hubgeschwindigkeit, velo, spd"
)
_FORCE = phrases(
    "force, load, f, frc, kraft, dampferkraft, daempferkraft, dampfkraft, dampfungskraft, last, prufkraft, effort,"
    " charge, fuerza, carga, load cell, loadcell, kraftmessdose, fuerzas, kolbenkraft, damping"
)
_TIME = phrases(
    "time, t, timestamp, time stamp, elapsed, elapsed time, zeit, zeitpunkt, zeitstempel, messzeit, laufzeit, temps,"
    " horodatage, tiempo, instant, clock, uhrzeit, millis, micros, hora, heure, tps, seconds, sekunden, secondes,"
    " segundos, milliseconds"
)
_TRAVEL = phrases(
    "travel, displacement, position, pos, disp, displ, stroke, x, s, weg, hub, federweg, kolbenweg, dampferweg,"
    " hubweg, auslenkung, deplacement, course, debattement, desplazamiento, posicion, recorrido, carrera, lvdt, z,"
    " distance, way, path, deflection, stroke position"
)

ROLES: dict[str, Role] = {
    "time": Role("time", _TIME, meaning="time of the sample"),
    "travel": Role("length", _TRAVEL, meaning="shaft travel"),
    "force": Role("force", _FORCE, meaning="force between the ends"),
    "velocity": Role("speed", _SPEED, meaning="shaft speed"),
    "test": Role(
        "words",
        phrases(
            "test, run, block, step, test no, test number, test id, versuch, lauf, stufe, prufung, messung, essai,"
            " passage, ensayo, prueba, serie, series, test speed, set speed, nominal speed, speed setting, sollwert,"
            " sollgeschwindigkeit, prufgeschwindigkeit, vitesse consigne, vitesse essai, velocidad nominal,"
            " velocidad ensayo, block no, run no, setting"
        ),
        meaning="test to which the row belongs",
    ),
    "side": Role(
        "words",
        phrases(
            "side, direction, dir, richtung, stufe, seite, sens, cote, sentido, direccion, lado, stroke direction,"
            " phase, bump rebound, zug druck, druck zug, compression rebound"
        ),
        meaning="compression or rebound",
    ),
    "compression_force": Role("force", _FORCE, "compression", "force in compression"),
    "rebound_force": Role("force", _FORCE, "rebound", "force in rebound"),
    "compression_velocity": Role("speed", _SPEED, "compression", "speed in compression"),
    "rebound_velocity": Role("speed", _SPEED, "rebound", "speed in rebound"),
    "stroke": Role(
        "length",
        phrases("stroke, hub, gesamthub, course, carrera, prufhub, stroke length, peak to peak"),
        meaning="stroke of the bench, end to end",
    ),
    "crank_speed": Role(
        "frequency",
        phrases(
            "rpm, crank speed, frequency, freq, drehzahl, frequenz, hubfrequenz, frequence, frecuencia, tr min,"
            " regime, cycles per minute, cpm, strokes per minute, n"
        ),
        meaning="turns or strokes of the bench per time",
    ),
    "mass": Role(
        "mass",
        phrases(
            "mass, weight, m, masse, gewicht, poids, masa, peso, hung weight, hung mass, hanging mass, scale reading"
        ),
        meaning="mass that hangs, or that the scale shows",
    ),
    "distance": Role(
        "length",
        phrases(
            "distance, travel, way, path, d, s, weg, strecke, messstrecke, fallweg, distancia, recorrido, course,"
            " chemin, displacement, trajet, drop"
        ),
        meaning="distance that was timed",
    ),
    "duration": Role(
        "time",
        phrases(
            "duration, time, t, zeit, dauer, duree, temps, tiempo, duracion, elapsed, elapsed time, fallzeit"
        ),
        meaning="time for that distance",
    ),
    "direction": Role(
        "words",
        phrases(
            "direction, side, dir, richtung, stufe, seite, sens, cote, sentido, direccion, lado, test, what, step"
        ),
        meaning="compression, rebound, push or return",
    ),
    "frames": Role(
        "number",
        phrases(
            "frames, frame count, number of frames, bilder, bildzahl, images, fotogramas, cuadros, nombre images"
        ),
        meaning="camera frames for that distance",
    ),
    "first_frame": Role(
        "number",
        phrases(
            "first frame, start frame, frame start, erstes bild, bild anfang, startbild, premiere image, image debut,"
            " primer fotograma, fotograma inicial"
        ),
        meaning="camera frame at the start",
    ),
    "last_frame": Role(
        "number",
        phrases(
            "last frame, end frame, frame end, letztes bild, bild ende, endbild, derniere image, image fin,"
            " ultimo fotograma, fotograma final"
        ),
        meaning="camera frame at the end",
    ),
    "scale_force": Role(
        "force",
        phrases(
            "scale force, scale, scale load, force, kraft, waage, waagenkraft, balance, force balance, bascula, fuerza"
        ),
        meaning="force that the scale shows",
    ),
}


def _axis(axis: str, text: str, glued: str) -> tuple[str, ...]:
    """Give phrases with the letter of an axis, apart ("gyro x") or in one word ("gyrox")."""
    return tuple(f"{phrase} {axis}" for phrase in phrases(text)) + tuple(g + axis for g in phrases(glued))


_ACCELERATION = (
    "acceleration, accel, acc, accelerometer, a, beschleunigung, beschleunigungssensor, aceleracion, acelerometro, "
    "accelerometre, total acceleration, acceleration including gravity, acceleration with gravity, g force, gforce"
)
_LINEAR = (
    "linear acceleration, linear accel, linear acc, lin acc, linear accelerometer, user acceleration, user accel, "
    "acceleration without gravity, lineare beschleunigung, beschleunigung ohne g, acceleration lineaire, "
    "aceleracion lineal"
)
_GRAVITY = "gravity, grav, gravity vector, schwerkraft, gravitation, gravite, gravedad"
_ROTATION = (
    "rotation, rotation rate, gyroscope, gyro, gyr, angular velocity, angular rate, omega, w, gyroskop, drehrate, "
    "winkelgeschwindigkeit, vitesse angulaire, vitesse rotation, giroscopio, giro, velocidad angular"
)
for _a in "xyz":
    ROLES[f"acceleration_{_a}"] = Role(
        "acceleration",
        (_a, f"{_a} axis", *_axis(_a, _ACCELERATION, "acceleration, accel, acc, a, gf")),
        meaning=f"acceleration along the phone's {_a} axis",
    )
    ROLES[f"linear_{_a}"] = Role(
        "acceleration",
        _axis(_a, _LINEAR, "linacc, useraccel"),
        meaning=f"acceleration without gravity along the phone's {_a} axis",
    )
    ROLES[f"gravity_{_a}"] = Role(
        "acceleration", _axis(_a, _GRAVITY, "gravity, grav"), meaning=f"gravity along the phone's {_a} axis"
    )
    ROLES[f"rotation_{_a}"] = Role(
        "angular rate",
        _axis(_a, _ROTATION, "rotation, rotationrate, rot, gyroscope, gyro, gyr, omega, w, g"),
        meaning=f"rotation rate about the phone's {_a} axis",
    )
for _a in "wxyz":
    ROLES[f"orientation_{_a}"] = Role(
        "number",
        _axis(
            _a, "quaternion, quat, orientation, attitude, rotation vector", "q, quat, quaternion, orientation"
        ),
        meaning=f"{_a} part of the quaternion that turns the phone's axes into the world's",
    )
ROLES |= {
    "rotation_time": Role(
        "time",
        phrases("gyro time, gyroscope time, rotation time, gyr time, gyro timestamp, gyroscope timestamp"),
        meaning="time of the rotation rates, where they have one of their own",
    ),
    "vertical": Role(
        "acceleration",
        phrases(
            "vertical acceleration, vertical, vertical accel, vertical acc, acceleration, accel, acc, accelerometer, "
            "body acceleration, acceleration up, beschleunigung, vertikale beschleunigung, vertikalbeschleunigung, "
            "acceleration verticale, aceleracion vertical, aceleracion"
        ),
        meaning="vertical acceleration",
    ),
    "magnitude": Role(
        "acceleration",
        phrases(
            "absolute acceleration, acceleration magnitude, magnitude, acceleration norm, betrag, "
            "beschleunigung betrag, norme acceleration, magnitud, modulo aceleracion"
        ),
        meaning="size of the acceleration without its direction",
    ),
    "sensor": Role(
        "words",
        phrases("sensor, sensor name, sensor type, type, source, sensortyp, capteur, name, channel, stream"),
        meaning="sensor to which the row belongs",
    ),
    "travel_voltage": Role(
        "voltage",
        (
            *_TRAVEL,
            *phrases(
                "voltage, volts, spannung, tension, voltaje, pot, potentiometer, poti, potentiometre, potenciometro,"
                " sensor, sensor voltage, travel sensor, signal, analog, output"
            ),
        ),
        meaning="travel sensor's voltage",
    ),
    "travel_counts": Role(
        "number",
        phrases(
            "counts, adc, adc counts, adc value, raw, travel counts, travel adc, position counts, pot counts, ticks,"
            " digits, travel ticks, zahler, cuentas, points, pas, sensor counts, travel raw, analog"
        ),
        meaning="travel sensor's counts",
    ),
}

# what the words of a sign are: "positive = compression", "Druck positiv", "+ compression"
POSITIVE = frozenset(phrases("positive, positiv, positif, positivo, positiva, pos, plus"))
NEGATIVE = frozenset(phrases("negative, negativ, negatif, negativo, negativa, neg, minus"))
