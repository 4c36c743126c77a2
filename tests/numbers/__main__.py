"""Prints the matching digits of the eleven certified one-way sets (NIST StRD) beside what float64 can hold."""

from __future__ import annotations

from tests.reference import loader, test_strd


def main() -> None:
    """One line a data set: found digits, and in brackets what the data read as float64 allow."""
    print(f"{'data set':14s}" + "".join(f"{key:>18s}" for key in test_strd.KEYS))
    for case_id in test_strd.CASES:
        case = loader.load(case_id)
        found = test_strd.one_way(case)
        told = "".join(
            f"{loader.matching_digits(found[key], case.expected(key)):11.1f} ({test_strd.ceiling(case, key):4.1f})"
            for key in test_strd.KEYS
        )
        print(f"{case_id.removeprefix('k01-strd-'):14s}{told}")


if __name__ == "__main__":
    main()
