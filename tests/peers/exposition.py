"""Reads metrics from standard input as prometheus-client 0.26 does, and says how many families and
samples there are; fails when they cannot be read, or when a family has no help."""

import sys

from prometheus_client.parser import text_string_to_metric_families

families = list(text_string_to_metric_families(sys.stdin.read()))
assert families, "there is nothing"
for family in families:
    assert family.documentation.strip(), f"{family.name} has no help"
print(len(families), sum(len(family.samples) for family in families))
