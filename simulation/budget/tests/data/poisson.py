"""Writes poisson.csv with SciPy: exact intervals for a Poisson mean, and quantiles of Poisson counts.

    pip install scipy==1.17.1 && python poisson.py > poisson.csv
"""

from scipy.stats import chi2, poisson

print("kind,count or mean,level,low,high")
for level in (0.9, 0.95, 0.99):
    tail = (1 - level) / 2
    for count in (0, 1, 2, 3, 5, 10, 20, 30, 31, 50, 100, 1000, 100000):
        low = chi2.ppf(tail, 2 * count) / 2 if count else 0.0
        high = chi2.isf(tail, 2 * count + 2) / 2
        print(f"mean,{count},{level},{low!r},{high!r}".replace("np.float64(", "").replace(")", ""))
    for mean in (0.0001, 0.027, 0.5, 1.0, 2.5, 7.0, 31.5, 100.0, 1234.5, 98765.4, 1e8):
        print(f"count,{mean!r},{level},{int(poisson.ppf(tail, mean))},{int(poisson.ppf(1 - tail, mean))}")
