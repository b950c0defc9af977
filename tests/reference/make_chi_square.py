"""chi_square.csv: upper points of the chi-square distribution at 5, 1 and 0.1 %.

Source: scipy.stats.chi2.isf 1.17.1. To 12 degrees of freedom, the length of printed tables (Abramowitz and Stegun, table
26.8), then some beyond, up to the hundreds of numbers in a walk.
"""

from scipy.stats import chi2

from tables import write_csv

LEVELS = [0.05, 0.01, 0.001]
FREEDOMS = [*range(1, 21), 30, 50, 100, 300, 762, 2000]


def main():
    rows = [[freedom, *(float(chi2.isf(level, freedom)) for level in LEVELS)] for freedom in FREEDOMS]
    write_csv("chi_square.csv", ["freedom", "five_per_cent", "one_per_cent", "one_per_mille"], rows)
    print(f"chi_square.csv: {len(rows)} rows")


if __name__ == "__main__":
    main()
