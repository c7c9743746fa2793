"""Makes the dashboards beside this file: `python make.py` (PyPI: grafana-foundation-sdk 10.1).

Three readers, three dashboards: who plans replacements, who keeps washers and links going, and who
wires one machine. Each answers its question on top and explains below.
"""

import json
import pathlib
import sys

from grafana_foundation_sdk.builders import dashboard, prometheus, stat, table, timeseries
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.models.dashboard import DataSourceRef, DashboardCursorSync

SOURCE = DataSourceRef(type_val="prometheus", uid="prometheus")

# One machine's dashboard is about the one that is chosen on top.
CHOSEN = '{machine="$machine"}'

WEAR = (
    "wear",
    "Stencil wear: what to order, what is used",
    "Reorder days and ends of life with the forecast's middle; the gateway's wear page has the intervals and the cost.",
    [
        (stat, "Stencils in use", "short", "sum(stencilward_stencils)", "", 6),
        (stat, "In the reorder band", "short", 'sum(stencilward_stencil_wear_band{band="reorder"})', "", 6),
        (stat, "At the end of their life", "short", 'sum(stencilward_stencil_wear_band{band="stopped"})', "", 6),
        (stat, "Under a concession", "short", 'sum(stencilward_stencil_standing{standing="concession"})', "", 6),
        (table, "Order by: days left, the nearest on top", "d",
         "sort((stencilward_stencil_order_by_timestamp_seconds - time()) / 86400)", "{{stencil}}", 12),
        (table, "End of life expected: days left", "d",
         "sort((stencilward_stencil_end_of_life_timestamp_seconds - time()) / 86400)", "{{stencil}}", 12),
        (timeseries, "Used share of rated life, the twenty most worn", "percentunit",
         "topk(20, stencilward_stencil_life_ratio)", "{{stencil}}", 24),
        (timeseries, "Strokes a day", "short", "sum(stencil:stencilward_strokes:increase1d)", "all stencils", 12),
        (timeseries, "Strokes that belong to no stencil yet", "short",
         "sum by (machine) (stencilward_unattributed_strokes)", "{{machine}}", 12),
        (timeseries, "Refusals a day by reason", "short",
         "sum by (reason) (rule_reason:stencilward_refusals:increase1d)", "{{reason}}", 12),
        (timeseries, "Washes that passed, of all", "percentunit",
         'sum(increase(stencilward_washes_total{outcome="passed"}[1d])) / (sum(increase(stencilward_washes_total[1d])) > 0)',
         "passed", 12),
    ],
)

FLOOR = (
    "floor",
    "Washers, links and alarms",
    "What is down or due now; the gateway's worklist says who does what about it.",
    [
        (stat, "Machines down, not in maintenance", "short",
         "sum(stencilward_machine_up == bool 0 unless on (job, machine) stencilward_machine_in_maintenance == 1)", "", 6),
        (stat, "Washes overdue", "short", "sum(stencilward_stencil_wash_due_timestamp_seconds < bool time()) or vector(0)", "", 6),
        (stat, "Alarms nobody acknowledged", "short", 'sum(stencilward_alarms{state="unacknowledged"})', "", 6),
        (stat, "Alarms in ten minutes", "short", "job:stencilward_alarms_raised:increase10m", "", 6),
        (timeseries, "Links: 1 is up", "short", "stencilward_machine_up", "{{machine}}", 12),
        (timeseries, "Up in the last day", "percentunit", "machine:stencilward_machine_up:avg_over_time1d", "{{machine}}", 12),
        (table, "Washes due: minutes left, the nearest on top", "m",
         "sort((stencilward_stencil_wash_due_timestamp_seconds - time()) / 60)", "{{stencil}}", 12),
        (timeseries, "Washes a day by outcome", "short",
         "sum by (machine, outcome) (machine_outcome:stencilward_washes:increase1d)", "{{machine}} {{outcome}}", 12),
        (timeseries, "What is wrong, by kind", "short", "stencilward_active_alarms > 0 or sum(stencilward_active_alarms)", "{{kind}}", 12),
        (timeseries, "Breaches of storage a day", "short",
         "sum by (machine) (increase(stencilward_storage_breaches_total[1d]))", "{{machine}}", 12),
        (timeseries, "From signal to durable, one in a hundred longer", "s",
         "job:stencilward_signal_durable_seconds:p99_5m", "", 8),
        (timeseries, "Durable write, one in a hundred longer", "s", "job:stencilward_ledger_write_seconds:p99_5m", "", 8),
        (timeseries, "Ledger and free disk", "bytes",
         "stencilward_ledger_size_bytes or stencilward_ledger_free_bytes", "{{__name__}}", 8),
    ],
)

MACHINE = (
    "machine",
    "Wiring one machine",
    "For the bench and the first shift: does it speak, how fast, what goes wrong, and what is booked.",
    [
        (stat, "Link", "short", f"stencilward_machine_up{CHOSEN}", "", 6),
        (stat, "Rounds a second", "short", f"rate(stencilward_link_rounds_total{CHOSEN}[1m])", "", 6),
        (stat, "Strokes booked", "short", f"stencilward_machine_strokes_total{CHOSEN}", "", 6),
        (stat, "Strokes of nobody", "short", f"stencilward_unattributed_strokes{CHOSEN}", "", 6),
        (timeseries, "What goes wrong on its link, a minute", "short",
         f"60 * rate(stencilward_link_troubles_total{CHOSEN}[2m])", "{{kind}}", 12),
        (timeseries, "Strokes a minute", "short", f"60 * rate(stencilward_machine_strokes_total{CHOSEN}[2m])", "booked", 12),
        (timeseries, "Interlocks wanted: 1 permits", "short", f"stencilward_output_wanted{CHOSEN}", "{{output}}", 12),
        (timeseries, "Interlocks the machine shows", "short", f"stencilward_output_shown{CHOSEN}", "{{output}}", 12),
        (timeseries, "Counter jumps, clock errors and missed messages", "short",
         f"stencilward_stroke_jumps_total{CHOSEN} or stencilward_clock_findings_total{CHOSEN} or stencilward_messages_missed_total{CHOSEN}",
         "{{__name__}}", 12),
        (timeseries, "A round, half of them quicker (all machines)", "s",
         "histogram_quantile(0.5, sum by (le) (rate(stencilward_link_round_duration_seconds_bucket[5m])))", "", 6),
        (timeseries, "From signal to interlock, half of them quicker", "s",
         "histogram_quantile(0.5, sum by (le) (rate(stencilward_signal_interlock_duration_seconds_bucket[5m])))", "", 6),
    ],
)

ALL = [WEAR, FLOOR, MACHINE]


def panel(kind, title, unit, expression, legend, width):
    """One panel over one expression."""
    query = prometheus.Dataquery().expr(expression).legend_format(legend).ref_id("A")
    if kind is table:
        query = query.instant().format("table")
    else:
        query = query.range()
    made = kind.Panel().title(title).datasource(SOURCE).unit(unit).with_target(query)
    return made.span(width).height(4 if kind is stat else 8)


def made(name, title, description, panels):
    """One dashboard."""
    board = (
        dashboard.Dashboard(title)
        .uid(f"stencilward-{name}")
        .description(description)
        .tags(["stencilward"])
        .readonly()
        .tooltip(DashboardCursorSync.CROSSHAIR)
        .refresh("30s")
        .time("now-12h" if name == "machine" else "now-7d", "now")
        .timezone("browser")
    )
    if name == "machine":
        machines = dashboard.QueryVariable("machine").label("Machine").datasource(SOURCE)
        board = board.with_variable(machines.query("label_values(stencilward_machine_up, machine)").refresh(2))
    for each in panels:
        board = board.with_panel(panel(*each))
    return json.dumps(board.build(), cls=JSONEncoder, indent=1, sort_keys=True) + "\n"


def main():
    """Writes them into the folder that is named, else beside this file."""
    folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent / "dashboards")
    for each in ALL:
        (folder / f"{each[0]}.json").write_text(made(*each), encoding="utf-8")


if __name__ == "__main__":
    main()
