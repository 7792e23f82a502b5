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
        "import sys; from flicker.base import special; mine = {n: getattr(special, n) for n in sys.argv[1:]}\n"
        "alone = 'scipy.special' not in sys.modules and 'numpy.f2py' not in sys.modules\n"
        "import scipy.special, scipy.stats; special.__dict__.pop('logsumexp', None)\n"
        "assert all(mine[n] is getattr(scipy.special, n) for n in mine) and scipy.stats.norm.cdf(0) == 0.5\n"
        "assert special.logsumexp is scipy.special.logsumexp; print(alone)"
    )
    done = subprocess.run([sys.executable, "-c", code, *sorted(names - {"logsumexp"})], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("True\n", "")
