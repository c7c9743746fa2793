"""Judges a bill of materials with CycloneDX's own library, and tells as JSON what is in it."""

import json
import sys

from cyclonedx.model.bom import Bom
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

text = open(sys.argv[1], encoding="utf-8").read()
fault = JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)
if fault:
    sys.exit(f"not CycloneDX 1.6: {fault}")
bom = Bom.from_json(json.loads(text))
if not bom.validate():
    sys.exit("the document contradicts itself")

root = bom.metadata.component
crates, others, debian, parts = [], [], [], [root, *bom.components]
for part in parts:
    kind = part.purl.type if part.purl else None
    if kind == "cargo":
        crates.append(part)
    elif kind == "deb":
        debian.append(part.name)
    else:
        others.append(part.name)

needs = {one.ref.value: [on.ref.value for on in one.dependencies] for one in bom.dependencies}
reached, ahead = set(), [root.bom_ref.value]
while ahead:
    ref = ahead.pop()
    if ref not in reached:
        reached.add(ref)
        ahead += needs.get(ref, [])

json.dump({
    "crates": [f"{part.name} {part.version}" for part in crates],
    "others": others,
    "debian": debian,
    "without_licence": [part.name for part in crates if not part.licenses],
    "without_checksum": [part.name for part in crates
                         if not part.hashes and not part.name.startswith("stencilward-")],
    "not_reached": [part.name for part in crates if part.bom_ref.value not in reached],
}, sys.stdout)
