#!/usr/bin/env python3
"""Writes the bill of materials of the gateway's image: CycloneDX 1.6 as JSON (ECMA-424).

It lists the crates that are linked into a package with the features it is built with, for one
target: what only builds or tests it is left out. Versions and checksums are Cargo.lock's, licences
the crates' own. Beside them the standard library, the SQLite that libsqlite3-sys brings, and the
Debian packages of the base image. The same input gives the same document.

Run it where the workspace is: sbom.py --package NAME [--target TRIPLE] [--debian STATUS]
"""

import argparse
import json
import pathlib
import re
import subprocess
import sys
import tomllib
import urllib.parse
import uuid


def run(*command):
    ran = subprocess.run(command, stdout=subprocess.PIPE, text=True)
    if ran.returncode:
        sys.exit(f"sbom.py: {' '.join(command)} failed")
    return ran.stdout


def host():
    """The target of this machine."""
    return re.search(r"^host: (.+)$", run("rustc", "--version", "--verbose"), re.M).group(1)


def known(target):
    """What Cargo knows of each crate of the workspace, by name and version."""
    text = run("cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target)
    return {(package["name"], package["version"]): package for package in json.loads(text)["packages"]}


def linked(package, target):
    """Each linked crate as (name, version), with those that it needs; the package comes first."""
    tree = run("cargo", "tree", "--locked", "--package", package, "--target", target,
               "--edges", "normal,no-proc-macro", "--prefix", "depth", "--format", " {p}")
    needs, path = {}, []
    for line in tree.splitlines():
        depth, name, version = line.split()[:3]
        crate = (name, version.removeprefix("v"))
        path[int(depth):] = [crate]
        needs.setdefault(crate, [])
        if len(path) > 1 and crate not in needs[path[-2]]:
            needs[path[-2]].append(crate)
    return needs


def reference(crate):
    return "pkg:cargo/" + "@".join(urllib.parse.quote(part, safe="") for part in crate)


def licences(expression):
    # An old form of the expression is still met, where a slash is an OR.
    return [{"expression": re.sub(r"\s*/\s*", " OR ", expression)}] if expression else []


def of_crate(crate, metadata, checksums):
    package = metadata[crate]
    component = {
        "type": "library",
        "bom-ref": reference(crate),
        "name": crate[0],
        "version": crate[1],
        "licenses": licences(package["license"]),
        "purl": reference(crate),
    }
    if package["description"]:
        component["description"] = " ".join(package["description"].split())
    if crate in checksums:
        component["hashes"] = [{"alg": "SHA-256", "content": checksums[crate]}]
    if package["repository"]:
        component["externalReferences"] = [{"type": "vcs", "url": package["repository"]}]
    return component


def of_sqlite(crate, metadata):
    header = pathlib.Path(metadata[crate]["manifest_path"]).parent / "sqlite3/sqlite3.h"
    version = re.search(r'#define SQLITE_VERSION\s+"([^"]+)"', header.read_text()).group(1)
    return {
        "type": "library",
        "bom-ref": f"sqlite@{version}",
        "name": "sqlite",
        "version": version,
        "description": f"compiled into {crate[0]}",
        "licenses": [{"license": {"id": "blessing"}}],
        "cpe": f"cpe:2.3:a:sqlite:sqlite:{version}:*:*:*:*:*:*:*",
    }


def of_standard_library():
    version = run("rustc", "--version").split()[1]
    return {
        "type": "library",
        "bom-ref": f"rust-std@{version}",
        "name": "rust-std",
        "version": version,
        "description": "the standard library of Rust",
        "licenses": licences("MIT OR Apache-2.0"),
        "cpe": f"cpe:2.3:a:rust-lang:rust:{version}:*:*:*:*:*:*:*",
    }


def of_debian(status):
    """The installed packages of a dpkg status file; their licences are not in it."""
    for stanza in status.read_text(errors="replace").split("\n\n"):
        fields = dict(re.findall(r"^(Package|Version|Architecture|Status): (.+)$", stanza, re.M))
        if fields.get("Status") != "install ok installed":
            continue
        name, version, kind = fields["Package"], fields["Version"], fields["Architecture"]
        quoted = urllib.parse.quote(version, safe=".+~-")
        purl = f"pkg:deb/debian/{name}@{quoted}?arch={kind}"
        yield {"type": "library", "bom-ref": purl, "name": name, "version": version, "purl": purl}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--package", required=True)
    parser.add_argument("--target", default=host())
    parser.add_argument("--debian", type=pathlib.Path)
    given = parser.parse_args()

    needs = linked(given.package, given.target)
    metadata = known(given.target)
    lock = tomllib.loads(pathlib.Path("Cargo.lock").read_text())
    checksums = {(package["name"], package["version"]): package["checksum"]
                 for package in lock["package"] if "checksum" in package}

    root = next(iter(needs))
    components = [of_crate(crate, metadata, checksums) for crate in sorted(needs) if crate != root]
    edges = {reference(crate): [reference(one) for one in needed] for crate, needed in needs.items()}
    library = of_standard_library()
    components.append(library)
    edges[reference(root)].append(library["bom-ref"])
    for crate in needs:
        if crate[0] == "libsqlite3-sys":
            sqlite = of_sqlite(crate, metadata)
            components.append(sqlite)
            edges[reference(crate)].append(sqlite["bom-ref"])
    if given.debian:
        components += of_debian(given.debian)

    document = {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "component": {**of_crate(root, metadata, checksums), "type": "application"},
            "properties": [{"name": "cargo:target", "value": given.target}],
        },
        "components": components,
        "dependencies": [{"ref": ref, "dependsOn": sorted(on)} for ref, on in sorted(edges.items())],
    }
    content = json.dumps(document, sort_keys=True)
    document["serialNumber"] = f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, content)}"
    json.dump(document, sys.stdout, indent=1, sort_keys=True)
    print()


if __name__ == "__main__":
    main()
