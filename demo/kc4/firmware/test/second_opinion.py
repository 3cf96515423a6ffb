"""Type K, twice over: the firmware's coefficients and conversions against the PyPI package thermocouple-its90 (its
coefficients were machine-read from the NIST files, and it computes in double precision) and, for the coefficients, against
the NIST file itself.

    python3 second_opinion.py DUMP-PROGRAM NIST-FILE
"""

import re
import struct
import subprocess
import sys

try:
    from thermocouple_its90 import TypeK
    from thermocouple_its90._data import TYPES
except ImportError:
    sys.exit("second-opinion: the Python package is not here; install it with: pip install thermocouple-its90==1.0.2")

DIRECT_WITHIN_MV = 0.0004  # a hundredth of a degree: what single precision may cost here
INVERSE_BANDS_C = [(-5.891, 0.0, -0.02, 0.04), (0.0, 20.644, -0.05, 0.04), (20.644, 54.886, -0.05, 0.06)]
INVERSE_SPARE_C = 0.004  # single precision, and the two decimals that the bands are given in


def single(value):
    """As the firmware keeps it."""
    return struct.unpack("<f", struct.pack("<f", value))[0]


def firmware(program):
    coefficients, direct, inverse = {}, {}, {}
    for line in subprocess.run([program], check=True, capture_output=True, text=True).stdout.splitlines():
        kind, *rest = line.split()
        if kind == "coefficient":
            coefficients.setdefault(rest[0], []).append(float(rest[2]))
        elif kind == "direct":
            direct[int(rest[0]) / 10.0] = float(rest[1])
        else:
            inverse[int(rest[0]) / 1000.0] = float(rest[1])
    return coefficients, direct, inverse


def package():
    below, above = TYPES["K"]["forward"]
    inverse = TYPES["K"]["inverse"]
    bell = above["exponential"]
    return {
        "k_direct_below_zero": below["coeffs"],
        "k_direct_above_zero": above["coeffs"],
        "k_inverse_below_zero": inverse[0]["coeffs"],
        "k_inverse_to_500": inverse[1]["coeffs"],
        "k_inverse_to_1372": inverse[2]["coeffs"],
        "k_bell": [bell["a0"], bell["a1"], bell["a2"]],
    }


def nist(path):
    number = r"[-+]?\d\.\d+E[-+]\d\d"
    with open(path, encoding="latin-1") as file:
        text = file.read()
    ranges = re.findall(r"^range:.*\n((?:\s+%s\n)+)" % number, text, re.M)
    rows = [line.split() for line in re.findall(r"^ +(?:%s +){2}%s *$" % (number, number), text, re.M)]
    columns = [[float(row[c]) for row in rows] for c in range(3)]
    for column in columns:
        while column and column[-1] == 0.0:
            column.pop()
    return {
        "k_direct_below_zero": [float(v) for v in ranges[0].split()],
        "k_direct_above_zero": [float(v) for v in ranges[1].split()],
        "k_inverse_below_zero": columns[0],
        "k_inverse_to_500": columns[1],
        "k_inverse_to_1372": columns[2],
        "k_bell": [float(v) for v in re.findall(r"^ a\d = +(\S+)", text, re.M)],
    }


def main():
    coefficients, direct, inverse = firmware(sys.argv[1])
    problems = []

    for source, reference in (("thermocouple-its90", package()), ("the NIST file", nist(sys.argv[2]))):
        for name, values in reference.items():
            found = [single(v) for v in coefficients.get(name, [])]
            expected = [single(v) for v in values]
            if found != expected:
                problems.append(f"{name}: the firmware has {found}, {source} {expected}")

    worst_direct = max(abs(mv - TypeK.emf(celsius)) for celsius, mv in direct.items())
    if len(direct) != 16421 or worst_direct > DIRECT_WITHIN_MV:
        problems.append(f"direct: {len(direct)} values, off by up to {worst_direct} mV")

    lowest, highest = 0.0, 0.0
    for mv, celsius in inverse.items():
        error = celsius - TypeK.temperature(mv)
        lowest, highest = min(lowest, error), max(highest, error)
        low, high = next((lo, hi) for start, end, lo, hi in INVERSE_BANDS_C if start <= mv <= end)
        if not low - INVERSE_SPARE_C <= error <= high + INVERSE_SPARE_C:
            problems.append(f"inverse: {mv} mV gives {celsius} C, off by {error}, allowed {low} to {high}")
    if len(inverse) != 6078:
        problems.append(f"inverse: {len(inverse)} values, expected 6078")

    for problem in problems:
        print("FAILED", problem)
    count = sum(len(v) for v in coefficients.values())
    print(f"second-opinion: {count} coefficients, {len(direct)} direct values within {worst_direct * 1000:.3f} uV,"
          f" {len(inverse)} inverse values within {lowest:+.4f} and {highest:+.4f} C: {'FAILED' if problems else 'agree'}")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
