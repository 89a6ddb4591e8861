"""``prepcheck plan``: figures for the work around the photo. Each has its source; none says that work may start."""

from __future__ import annotations

from prepcheck.cli import plan_clearing, plan_leak, plan_wall, plan_weld
from prepcheck.cli.commands import Commands

app = Commands(
    "Work out figures for clearing, wall, weld and leak test, each with its source and how far it can be trusted.",
)
app.command("clearing")(plan_clearing.clearing)
app.command("wall")(plan_wall.wall)
app.command("weld")(plan_weld.weld)
app.command("leak")(plan_leak.leak)
