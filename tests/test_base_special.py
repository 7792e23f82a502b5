"""The special functions that a short log pays for: outside source, `scipy.special` itself."""

import re
import subprocess
import sys
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "flicker"


def test_they_are_those_of_the_package_and_come_without_it():
    texts = [path.read_text() for path in PACKAGE.rglob("*.py")]
    names = {name for text in texts for name in re.findall(r"\bspecial\.([a-z]\w*)\(", text)}
    names |= {name.strip() for text in texts for line in re.findall(r"base\.special import (.*)", text) for name in line.split(",")}
    assert {"ndtri", "gammaincinv", "logsumexp"} <= names
    code = (
        "import sys; from flicker.base import special; import numpy as np\n"
        "mine = {n: getattr(special, n) for n in sys.argv[1:]}; print('scipy.special' not in sys.modules)\n"
        "import scipy.special, scipy.stats\n"
        "assert all(mine[n] is getattr(scipy.special, n) for n in mine) and scipy.stats.norm.cdf(0) == 0.5\n"
        "x = np.random.default_rng(1).normal(0, 300, (3, 4, 50)); x[0, 0, :3] = x[0, 0].max(); x[1, 1] = -np.inf; x[2, 2, 0] = np.inf\n"
        "for axis in (None, 0, -1): np.testing.assert_allclose(special.logsumexp(x, axis), scipy.special.logsumexp(x, axis), rtol=1e-14)"
    )
    done = subprocess.run([sys.executable, "-c", code, *sorted(names - {"logsumexp"})], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("True\n", "")


def test_roots_are_those_of_brentq_and_come_without_its_package():
    code = (
        "import sys; from flicker.base.roots import root; import math\n"
        "asked = [(math.cos, 1.0, 2.0, 2e-12), (lambda x: x**3 - 2.0, 0.0, 9.0, 1e-6), (lambda x: math.exp(x) - 5.0, -9.0, 9.0, 1e-12)]\n"
        "mine = [root(*each) for each in asked]; print('scipy.optimize' not in sys.modules)\n"
        "from scipy.optimize import brentq; print(mine == [brentq(f, a, b, xtol=t) for f, a, b, t in asked])\n"
        "for each in ((math.cos, 0.0, 1.0), (lambda x: math.nan, 0.0, 1.0)):\n"
        "    try: root(*each)\n"
        "    except ValueError as problem: print('sign' in str(problem) or 'NaN' in str(problem))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("True\n" * 4, "")
