"""Writes e_series.csv: E6, E12 and E24 as the PyPI package eseries 1.2.1 (MIT) has them.

    pip install eseries==1.2.1 && python e_series.py > e_series.csv
"""

from eseries import E6, E12, E24, find_greater_than_or_equal, series

print("series,values in tenths | least,next")
for name, which in (("E6", E6), ("E12", E12), ("E24", E24)):
    print(name + "," + " ".join(str(value) for value in series(which)))
    for least in (1.01e-6, 96e-6, 114.3e-6, 150.1e-6, 784e-3, 9.2e-9, 8.3e-12, 3290e-6):
        print(f"{name},{least!r},{find_greater_than_or_equal(which, least)!r}")
