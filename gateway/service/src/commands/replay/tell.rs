//! What a replay shows.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

use stencilward_adapters::record::{Difference, Entry, Given, Happened};

/// Differences of one recording that are shown, unless all are asked for.
const FIRST: usize = 20;

/// What is shown.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shown {
    pub(super) everything: bool,
    pub(super) all_differences: bool,
}

/// What a recording came to.
#[derive(Debug, Default)]
pub(super) struct Tally {
    /// Things that the machine said.
    said: usize,
    signals: usize,
    pub(super) differ: usize,
    uncertain: usize,
    pub(super) damaged: usize,
    /// Differences by the word they begin with.
    kinds: BTreeMap<String, usize>,
    changed: bool,
    from: String,
    to: String,
}

/// Tells what becomes of one recording.
pub(super) struct Teller<'a, W> {
    out: W,
    file: &'a Path,
    machine: &'a str,
    shown: Shown,
    tally: Tally,
    /// The difference before this one: what differs in the same way is not shown again.
    last: Difference,
    /// Differences shown.
    told: usize,
}

impl<'a, W: Write> Teller<'a, W> {
    pub(super) fn new(out: W, file: &'a Path, machine: &'a str, shown: Shown) -> Self {
        let (tally, last) = (Tally::default(), Difference::default());
        Self { out, file, machine, shown, tally, last, told: 0 }
    }

    pub(super) fn tell(&mut self, number: usize, happened: &Happened) -> io::Result<()> {
        match happened {
            Happened::Began { header, changed } => {
                self.tally.changed |= changed;
                if self.shown.everything {
                    let (machine, program) = (&header.machine, &header.program);
                    writeln!(self.out, "{number}: {machine} is recorded by version {program}")?;
                }
            }
            Happened::Same { entry } => {
                self.count(entry);
                self.show(number, entry, &entry.given, "")?;
            }
            Happened::Uncertain { entry, now } => {
                self.count(entry);
                self.tally.uncertain += 1;
                self.show(number, entry, now, " (after a gap, not compared)")?;
            }
            Happened::Differs { entry, now, difference } => {
                self.count(entry);
                self.tally.differ += 1;
                for words in difference.recorded.iter().chain(&difference.now) {
                    let kind = words.split([' ', ':']).next().unwrap_or_default();
                    *self.tally.kinds.entry(kind.to_owned()).or_default() += 1;
                }
                self.show(number, entry, now, " (differs)")?;
                let news = self.told < FIRST && self.last != *difference;
                if self.shown.all_differences || news {
                    self.difference(number, entry, difference)?;
                    self.told += 1;
                    self.last.clone_from(difference);
                }
            }
            Happened::Gap(why) => {
                writeln!(self.out, "{}:{number}: {}", self.file.display(), why.escape_debug())?;
            }
            Happened::Torn => {
                let why = "this line is cut off, as by a program that was killed: it is left out";
                writeln!(self.out, "{}:{number}: {why}", self.file.display())?;
            }
            Happened::Damaged(why) => {
                self.tally.damaged += 1;
                let why = why.escape_debug();
                writeln!(self.out, "{}:{number}: damaged: {why}", self.file.display())?;
            }
        }
        Ok(())
    }

    fn count(&mut self, entry: &Entry) {
        self.tally.said += 1;
        self.tally.signals += entry.given.signals.len();
        self.tally.to = entry.time();
        if self.tally.from.is_empty() {
            self.tally.from = entry.time();
        }
    }

    fn show(&mut self, number: usize, entry: &Entry, now: &Given, mark: &str) -> io::Result<()> {
        if !self.shown.everything {
            return Ok(());
        }
        writeln!(self.out, "{number}: {} {}{mark}", entry.time(), entry.raw)?;
        now.words().iter().try_for_each(|words| writeln!(self.out, "    {words}"))
    }

    fn difference(
        &mut self,
        number: usize,
        entry: &Entry,
        difference: &Difference,
    ) -> io::Result<()> {
        writeln!(self.out, "{}:{number}: {} differs", self.file.display(), entry.time())?;
        for (column, all) in [("recorded", &difference.recorded), ("now", &difference.now)] {
            if all.is_empty() {
                writeln!(self.out, "    {column:9} nothing")?;
            }
            all.iter().try_for_each(|words| writeln!(self.out, "    {column:9} {words}"))?;
        }
        writeln!(self.out, "    {:9} {}", "raw", entry.raw)
    }

    /// The end, in a few lines.
    pub(super) fn sum_up(mut self, unread: &[String]) -> io::Result<Tally> {
        let (out, tally, file) = (&mut self.out, &self.tally, self.file.display());
        let hidden =
            if self.shown.all_differences { 0 } else { tally.differ.saturating_sub(FIRST) };
        if hidden > 0 {
            writeln!(out, "{hidden} more differ; --all shows them")?;
        }
        for what in unread {
            writeln!(out, "{file}: the recording holds nothing of {what}: record again to see it")?;
        }
        let Tally { said, signals, differ, uncertain, damaged, from, to, .. } = tally;
        let span = if from.is_empty() { String::new() } else { format!(", {from} to {to}") };
        let settings = if tally.changed { "other settings" } else { "the same settings" };
        write!(out, "{file}: {}: {said} things said, {signals} signals{span}; ", self.machine)?;
        write!(out, "recorded with {settings}: ")?;
        let kinds: Vec<String> =
            tally.kinds.iter().map(|(kind, count)| format!("{kind} {count}")).collect();
        match differ {
            0 => write!(out, "nothing differs")?,
            _ => write!(out, "{differ} differ ({})", kinds.join(", "))?,
        }
        if *uncertain > 0 {
            write!(out, "; {uncertain} after a gap were not compared")?;
        }
        if *damaged > 0 {
            write!(out, "; lines damaged: {damaged}")?;
        }
        writeln!(out)?;
        Ok(self.tally)
    }
}
