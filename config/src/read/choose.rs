//! Opens the choices of a schema with a value in hand: which branch did the writer mean?
//!
//! In this order: the only branch that takes a value of this kind; the branch whose tag the
//! value carries; the branch whose single key the value has; else the branch with the fewest
//! faults. The last one checks the value once for each branch, so settings should not nest
//! untagged choices deeply.

use serde_json::Value as Json;

use super::check::{Findings, Spot, check_spot, is_listed, not_listed};
use super::describe::describe;
use super::mend::Mend;
use super::schema::{Part, Schema, choices, closed, properties, required};
use super::tree::{Kind, Value};
use super::wording::{did_you_mean, found, listed, near, quoted};

/// Most choices opened within each other without going down in the value.
const FARTHEST: usize = 16;

/// The parts of a schema that a value must fulfil, its choices opened.
#[derive(Debug, Default)]
pub(crate) struct Picked<'s> {
    pub(crate) parts: Vec<&'s Part>,
    /// The tag that was told to be wrong already.
    pub(crate) settled: Option<&'s str>,
    /// Keys of branches that were not taken, for the list of what is allowed.
    pub(crate) offered: Vec<&'s str>,
    /// The branch is not known: other keys cannot be judged.
    pub(crate) open: bool,
    /// Branches that were not taken allow no other keys.
    pub(crate) closed: bool,
    depth: usize,
}

/// The branches of a choice, each with the word that picks it.
type Worded<'s> = Vec<(&'s str, &'s Json)>;

impl<'s> Picked<'s> {
    /// Adds what `at` demands; false when the value fits no branch and that was told.
    pub(crate) fn gather(
        &mut self,
        schema: &'s Schema,
        at: &'s Json,
        spot: Spot<'_>,
        findings: &mut Findings<'_>,
    ) -> bool {
        if self.depth == FARTHEST {
            return true;
        }
        let parts = schema.parts(at);
        self.parts.extend(&parts);
        self.depth += 1;
        let mut choices = parts.iter().flat_map(|part| choices(part));
        let opened = choices.all(|branches| self.choose(schema, at, branches, spot, findings));
        self.depth -= 1;
        opened
    }

    fn choose(
        &mut self,
        schema: &'s Schema,
        at: &Json,
        branches: &'s [Json],
        spot: Spot<'_>,
        findings: &mut Findings<'_>,
    ) -> bool {
        let kind = spot.node.kind();
        let fits = |branch: &&Json| schema.fits(branch, kind);
        let fitting: Vec<&Json> = branches.iter().filter(fits).collect();
        if !matches!(kind, Kind::Map | Kind::List | Kind::Null)
            && let Some(values) = all_listed(schema, &fitting)
            && !is_listed(&values, spot.node)
        {
            not_listed(&values, describe(schema, at), spot, findings);
            return false;
        }
        if let [only] = fitting.as_slice() {
            return self.gather(schema, only, spot, findings);
        }
        if kind == Kind::Map {
            if let Some((tag, worded)) = tagged(schema, &fitting) {
                return self.by_tag(schema, tag, &worded, spot, findings);
            }
            if let Some(worded) = keyed(schema, &fitting) {
                return self.by_key(schema, &worded, spot, findings);
            }
        }
        match fewest_faults(schema, &fitting, spot, findings) {
            Some(branch) => self.gather(schema, branch, spot, findings),
            None => true,
        }
    }

    fn by_tag(
        &mut self,
        schema: &'s Schema,
        tag: &'s str,
        worded: &Worded<'s>,
        spot: Spot<'_>,
        findings: &mut Findings<'_>,
    ) -> bool {
        let branch = tag_branch(tag, worded, spot, findings);
        let branch = match branch {
            Tagged::Sure(branch) => Some(branch),
            Tagged::Told(near) => {
                self.settled = Some(tag);
                near.or_else(|| self.guess(schema, tag, worded, spot))
            }
        };
        match branch {
            Some(branch) => self.gather(schema, branch, spot, findings),
            None => {
                self.open = true;
                true
            }
        }
    }

    /// The only branch that knows all keys of the value, where it has any of its own.
    fn guess(
        &self,
        schema: &'s Schema,
        tag: &str,
        worded: &Worded<'s>,
        spot: Spot<'_>,
    ) -> Option<&'s Json> {
        let keys = spot.node.entries().iter().map(|entry| entry.key.as_str());
        let own = |key: &&str| *key != tag && Schema::property(&self.parts, key).is_empty();
        let own: Vec<&str> = keys.filter(own).collect();
        let knows_all = |branch: &&Json| {
            let parts = schema.parts(branch);
            own.iter().all(|key| !Schema::property(&parts, key).is_empty())
        };
        let branches = worded.iter().map(|(_, branch)| *branch);
        let mut knowing = branches.filter(knows_all);
        let first = knowing.next().filter(|_| !own.is_empty());
        first.filter(|_| knowing.next().is_none())
    }

    fn by_key(
        &mut self,
        schema: &'s Schema,
        worded: &Worded<'s>,
        spot: Spot<'_>,
        findings: &mut Findings<'_>,
    ) -> bool {
        let words = || worded.iter().map(|(word, _)| *word);
        let mut first: Option<&str> = None;
        for entry in spot.node.entries() {
            let Some((word, branch)) = worded.iter().find(|(word, _)| *word == entry.key) else {
                continue;
            };
            if let Some(first) = first {
                let path = spot.path.key(word);
                let second = Spot { node: &entry.node, path: &path, mark: entry.mark };
                let wrong = format!("this key cannot stand beside {}", quoted(first));
                let allowed = format!("one of {}", listed(words()));
                findings.tell(second, wrong, Some(allowed));
            }
            first.get_or_insert(word);
            if !self.gather(schema, branch, spot, findings) {
                return false;
            }
        }
        if first.is_some() {
            return true;
        }
        self.offered.extend(words());
        let all_closed = |(_, branch): &(_, &Json)| schema.parts(branch).into_iter().any(closed);
        self.closed |= worded.iter().all(all_closed);
        let mut others = spot.node.entries().iter();
        let misspelt = others.any(|entry| {
            let other = Schema::property(&self.parts, &entry.key).is_empty();
            other && near(&entry.key, words()).is_some()
        });
        if !(misspelt && super::check::is_closed(self)) {
            let wrong = "one key is missing that says which kind this is".to_owned();
            findings.tell(spot, wrong, Some(format!("one of {}", listed(words()))));
        }
        true
    }
}

/// What the tag of a value says about its branch.
enum Tagged<'s> {
    Sure(&'s Json),
    /// It is missing or wrong, and that was told; perhaps this branch was meant.
    Told(Option<&'s Json>),
}

fn tag_branch<'s>(
    tag: &str,
    worded: &Worded<'s>,
    spot: Spot<'_>,
    findings: &mut Findings<'_>,
) -> Tagged<'s> {
    let words = || worded.iter().map(|(word, _)| *word);
    let branch = |word: &str| {
        let found = worded.iter().find(|(other, _)| *other == word);
        found.map(|(_, branch)| *branch)
    };
    let path = spot.path.key(tag);
    let Some(entry) = spot.node.entry(tag) else {
        let absent = Spot { path: &path, ..spot };
        let wrong = "this key is missing".to_owned();
        findings.tell(absent, wrong, Some(listed(words())));
        return Tagged::Told(None);
    };
    let at_tag = Spot { node: &entry.node, path: &path, mark: entry.mark };
    let Value::Text(text) = &entry.node.value else {
        let wrong = format!("text is needed, {}", found(&entry.node));
        findings.tell(at_tag, wrong, Some(listed(words())));
        return Tagged::Told(None);
    };
    if let Some(branch) = branch(text) {
        return Tagged::Sure(branch);
    }
    let meant = near(text, words());
    if let Some(word) = meant {
        findings.mend(at_tag, Mend::Word(word.to_owned()));
    }
    let hint = did_you_mean(meant);
    let wrong = format!("{} is not allowed here{hint}", quoted(text));
    findings.tell(at_tag, wrong, Some(listed(words())));
    Tagged::Told(meant.and_then(branch))
}

/// All values the branches list; none when one of them allows more than what it lists.
fn all_listed<'s>(schema: &'s Schema, branches: &[&'s Json]) -> Option<Vec<&'s Json>> {
    let listed = branches.iter().map(|branch| schema.listed(branch));
    let listed: Option<Vec<Vec<&Json>>> = listed.collect();
    listed.filter(|listed| !listed.is_empty()).map(|listed| listed.concat())
}

/// The key whose value tells the branches apart, with the words it can have.
pub(crate) fn tagged<'s>(
    schema: &'s Schema,
    branches: &[&'s Json],
) -> Option<(&'s str, Worded<'s>)> {
    let first = schema.parts(branches.first()?);
    let mut keys = first.iter().flat_map(|part| properties(part));
    keys.find_map(|(key, _)| {
        let worded = branches.iter().map(|branch| {
            let parts = schema.parts(branch);
            let needed = parts.iter().any(|part| required(part).any(|own| own == key));
            let at = *Schema::property(&parts, key).first()?;
            match schema.listed(at)?.as_slice() {
                [Json::String(word)] if needed => Some((word.as_str(), *branch)),
                _ => None,
            }
        });
        let worded: Worded<'s> = worded.collect::<Option<_>>()?;
        distinct(&worded).then_some((key, worded))
    })
}

/// The single key that each branch demands.
fn keyed<'s>(schema: &'s Schema, branches: &[&'s Json]) -> Option<Worded<'s>> {
    let worded = branches.iter().map(|branch| {
        let parts = schema.parts(branch);
        let mut keys = parts.iter().flat_map(|part| properties(part));
        let (key, _) = keys.next()?;
        let needed = parts.iter().any(|part| required(part).any(|own| own == key));
        (needed && keys.next().is_none()).then_some((key, *branch))
    });
    let worded: Worded<'s> = worded.collect::<Option<_>>()?;
    distinct(&worded).then_some(worded)
}

fn distinct(worded: &Worded<'_>) -> bool {
    let twice = |(index, (word, _)): (usize, &(&str, &Json))| {
        worded.iter().skip(index + 1).any(|(other, _)| other == word)
    };
    !worded.is_empty() && !worded.iter().enumerate().any(twice)
}

fn fewest_faults<'s>(
    schema: &Schema,
    branches: &[&'s Json],
    spot: Spot<'_>,
    findings: &Findings<'_>,
) -> Option<&'s Json> {
    let faults = |branch: &&&Json| {
        let mut trial = findings.fresh();
        check_spot(schema, branch, spot, &mut trial);
        trial.len()
    };
    branches.iter().min_by_key(faults).copied()
}
