# Noncentral t quantiles by scipy.stats.nct, as an outside answer to measure/repeat.
# usage: /usr/bin/python3 nct.py
import math
import sys

import scipy
from scipy.stats import nct

print(f"# Python {sys.version.split()[0]}, scipy {scipy.__version__}")
print("name,p025,p500,p975")
for df in (2, 5, 16, 84, 399, 1999):
    ncp = 1.96 * math.sqrt(df + 1)
    print(f"{df}," + ",".join(f"{nct.ppf(p, df, ncp):.15g}" for p in (0.025, 0.5, 0.975)))
