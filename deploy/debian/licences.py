"""Writes the package's copyright file: our licence, and those of all crates in the program.

The crates are those of the bill of materials; each brings its licence and notices in its own
source. Fails where one brings none and is under a licence whose text is not here either.
"""

import collections
import pathlib
import re
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "container"))

from sbom import host, known, linked  # noqa: E402

PROGRAM = "stencilward-service"
NAMES = ("LICENSE", "LICENCE", "COPYING", "COPYRIGHT", "NOTICE")
APACHE = "/usr/share/common-licenses/Apache-2.0"
# Documentation of procfs is taken from manual pages; the text ends its notices.
GFDL = re.compile(r"^ *GNU Free Documentation License\n *Version 1\.2.*\Z", re.DOTALL | re.MULTILINE)
MIT = """\
Permission is hereby granted, free of charge, to any person obtaining a copy of this software and
associated documentation files (the "Software"), to deal in the Software without restriction,
including without limitation the rights to use, copy, modify, merge, publish, distribute,
sublicense, and/or sell copies of the Software, and to permit persons to whom the Software is
furnished to do so, subject to the following conditions:

The above copyright notice and this permission notice shall be included in all copies or
substantial portions of the Software.

THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT
NOT LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND
NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM,
DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT
OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE."""
HEAD = f"""\
Stencilward, gateway for stencil wear and cleaning

Copyright 2026 The Stencilward developers

License: Apache-2.0; on Debian systems the text is in {APACHE}.

The program is linked with these crates. Where a crate may be had under the Apache License 2.0, it
is taken under that, and its other notices follow below all the same.
"""


def notices(package):
    """What the crate's source says of its licence. Not the common text that every Debian has, nor
    that of a licence it is not taken under."""
    for file in sorted(pathlib.Path(package["manifest_path"]).parent.iterdir()):
        if file.is_file() and file.name.upper().startswith(NAMES) and "GPL" not in file.name:
            text = file.read_text(errors="replace").strip()
            if "TERMS AND CONDITIONS FOR USE, REPRODUCTION" not in text:
                yield GFDL.sub("The text is in /usr/share/common-licenses/GFDL-1.2.", text)


def terms(package):
    """The texts that go with the crate."""
    found = list(notices(package))
    licence = package["license"] or ""
    if not found and "Apache-2.0" not in licence:
        if licence != "MIT":
            sys.exit(f"{package['name']} brings no text of its licence ({licence}): add it here")
        authors = ", ".join(package["authors"]) or f"the authors of {package['name']}"
        found = [f"Copyright (c) {authors}\n\n{MIT}"]
    return found


def main():
    packages = known(host())
    crates = (packages[crate] for crate in sorted(linked(PROGRAM, host())) if crate[0] != PROGRAM)
    crates = [package for package in crates if package["source"]]
    print(HEAD)
    sharing = collections.defaultdict(list)
    for package in crates:
        print(f"  {package['name']} {package['version']}: {package['license']}")
        for text in dict.fromkeys(terms(package)):
            sharing[text].append(package["name"])
    for text, names in sharing.items():
        print(f"\n{'-' * 79}\n{', '.join(dict.fromkeys(names))}:\n\n{text}")


main()
