"""Writes the package's copyright file: our licence, and those of all crates in the program.

The crates are those that the program is linked with on this platform, after Cargo.lock; each
brings its licence and notices in its own source. Fails where one brings none and is under a
licence whose text is not here either.
"""

import collections
import json
import pathlib
import re
import subprocess
import sys

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

The program is linked with these crates, whose sources are in the registry crates.io. Where a
crate may be had under the Apache License 2.0, it is taken under that, and its other notices
follow below all the same.
"""


def metadata():
    about = subprocess.run(["rustc", "-vV"], check=True, capture_output=True, text=True).stdout
    host = next(line.split()[1] for line in about.splitlines() if line.startswith("host:"))
    command = ["cargo", "metadata", "--format-version", "1", "--locked", "--filter-platform", host]
    return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)


def linked(known):
    """The crates that end up in the program: by normal dependencies from its own crate."""
    nodes = {node["id"]: node for node in known["resolve"]["nodes"]}
    packages = {package["id"]: package for package in known["packages"]}
    waiting = [at for at, package in packages.items() if package["name"] == PROGRAM]
    found = set()
    while waiting:
        at = waiting.pop()
        if at not in found:
            found.add(at)
            normal = (to for to in nodes[at]["deps"] if any(not k["kind"] for k in to["dep_kinds"]))
            waiting.extend(to["pkg"] for to in normal)
    others = found - set(known["workspace_members"])
    return sorted((packages[at] for at in others), key=lambda one: (one["name"], one["version"]))


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
    crates = linked(metadata())
    print(HEAD)
    sharing = collections.defaultdict(list)
    for package in crates:
        print(f"  {package['name']} {package['version']}: {package['license']}")
        for text in dict.fromkeys(terms(package)):
            sharing[text].append(package["name"])
    for text, names in sharing.items():
        print(f"\n{'-' * 79}\n{', '.join(dict.fromkeys(names))}:\n\n{text}")


main()
