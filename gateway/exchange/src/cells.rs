//! From cells to values: strict, and every fault with what to write instead.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use stencilward_domain::names::{BadName, LONGEST_NAME};
use stencilward_domain::signal::Side;

use crate::fault::RowFault;
use crate::rows::{Cell, Row};

/// Longest free text in a cell, in characters.
const LONGEST_TEXT: usize = 500;

/// The cells of one row, and the faults found in them so far.
pub(crate) struct Cells<'r> {
    row: &'r Row,
    faults: Vec<RowFault>,
}

impl<'r> Cells<'r> {
    pub(crate) fn of(row: &'r Row) -> Self {
        Self { row, faults: Vec::new() }
    }

    /// The faults of the row.
    pub(crate) fn faults(self) -> Vec<RowFault> {
        self.faults
    }

    pub(crate) fn fault(&mut self, column: &str, fault: impl Into<String>) {
        self.faults.push(RowFault::of_cell(self.row.line, column, fault));
    }

    /// True when the cell says something.
    pub(crate) fn given(&self, column: &str) -> bool {
        self.cell(column).is_some()
    }

    fn cell(&self, column: &str) -> Option<&'r Cell> {
        let place = self.row.columns.iter().position(|known| *known == column)?;
        self.row.cells.get(place)?.as_ref()
    }

    /// The text of a cell, trimmed; none when nothing is given.
    fn text(&mut self, column: &str) -> Option<&'r str> {
        match self.cell(column)? {
            Cell::Text(text) => Some(text.trim()),
            Cell::List(_) => {
                self.fault(column, "a list: write one value");
                None
            }
        }
    }

    fn read<T>(&mut self, column: &str, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let text = self.text(column)?;
        read(text).map_err(|fault| self.fault(column, fault)).ok()
    }

    /// A name; none when nothing is given.
    pub(crate) fn name<T>(
        &mut self,
        column: &str,
        new: fn(&str) -> Result<T, BadName>,
    ) -> Option<T> {
        self.read(column, |text| named(text, new))
    }

    /// A name without which the row says nothing.
    pub(crate) fn needed<T>(
        &mut self,
        column: &str,
        new: fn(&str) -> Result<T, BadName>,
    ) -> Option<T> {
        if !self.given(column) {
            self.fault(column, "missing: each row needs it");
        }
        self.name(column, new)
    }

    /// A name that no other row may have.
    pub(crate) fn once<T: Ord + Clone>(
        &mut self,
        column: &str,
        name: Option<&T>,
        seen: &mut BTreeMap<T, u64>,
    ) {
        let Some(name) = name else { return };
        match seen.get(name) {
            Some(first) => {
                self.fault(column, format!("also in line {first}: keep one of the two rows"));
            }
            None => {
                seen.insert(name.clone(), self.row.line);
            }
        }
    }

    /// Several names: those of a list, or of a text separated by semicolons or else by spaces.
    pub(crate) fn names<T>(&mut self, column: &str, new: fn(&str) -> Result<T, BadName>) -> Vec<T> {
        let texts: Vec<&str> = match self.cell(column) {
            None => Vec::new(),
            Some(Cell::List(list)) => list.iter().map(String::as_str).collect(),
            Some(Cell::Text(text)) if text.contains(';') => {
                text.split(';').filter(|part| !part.trim().is_empty()).collect()
            }
            Some(Cell::Text(text)) => text.split_whitespace().collect(),
        };
        let mut names = Vec::new();
        for text in texts {
            match named(text, new) {
                Ok(name) => names.push(name),
                Err(fault) => self.fault(column, fault),
            }
        }
        names
    }

    /// A word of a plant's own, such as a revision.
    pub(crate) fn word(&mut self, column: &str) -> Option<String> {
        self.read(column, |text| plain(text, LONGEST_NAME))
    }

    /// A sentence or so.
    pub(crate) fn sentence(&mut self, column: &str) -> Option<String> {
        self.read(column, |text| plain(text, LONGEST_TEXT))
    }

    /// A whole number in this range.
    pub(crate) fn whole(&mut self, column: &str, range: RangeInclusive<u64>) -> Option<u64> {
        self.read(column, |text| whole(text, &range))
    }

    /// A whole number from `least` that 32 bits hold.
    pub(crate) fn short(&mut self, column: &str, least: u32) -> Option<u32> {
        let number = self.whole(column, u64::from(least)..=u64::from(u32::MAX))?;
        u32::try_from(number).ok()
    }

    /// A number with at most two decimals, as hundredths in this range.
    pub(crate) fn hundredths(&mut self, column: &str, range: RangeInclusive<u64>) -> Option<u64> {
        self.read(column, |text| hundredths(text, &range))
    }

    /// `true` or `false`.
    pub(crate) fn flag(&mut self, column: &str) -> Option<bool> {
        self.read(column, |text| match text.to_ascii_lowercase().as_str() {
            "true" => Ok(true),
            "false" => Ok(false),
            _ => Err(format!("{text:?} is neither true nor false: write one of the two")),
        })
    }

    /// `top` or `bottom`.
    pub(crate) fn side(&mut self, column: &str) -> Option<Side> {
        self.read(column, |text| match text.to_ascii_lowercase().as_str() {
            "top" => Ok(Side::Top),
            "bottom" => Ok(Side::Bottom),
            _ => Err(format!("{text:?} is no side of a board: write top or bottom")),
        })
    }
}

fn named<T>(text: &str, new: fn(&str) -> Result<T, BadName>) -> Result<T, String> {
    new(text).map_err(|error| match error {
        BadName::TooLong(_) => format!("{error}: shorten it"),
        BadName::Empty | BadName::Control => format!("{error}: write it as it is read"),
    })
}

fn plain(text: &str, longest: usize) -> Result<String, String> {
    let length = text.chars().count();
    if length > longest {
        Err(format!("{length} characters, {longest} are allowed: shorten it"))
    } else if text.chars().any(char::is_control) {
        Err("it holds a control character or a line break: take it out".to_owned())
    } else {
        Ok(text.to_owned())
    }
}

fn digits(text: &str) -> Option<u64> {
    let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    text.parse().ok().filter(|_| plain)
}

fn whole(text: &str, range: &RangeInclusive<u64>) -> Result<u64, String> {
    let number = digits(text)
        .ok_or_else(|| format!("{text:?} is no whole number: write digits only, such as 50000"))?;
    if range.contains(&number) {
        return Ok(number);
    }
    let (least, most) = (range.start(), range.end());
    Err(format!("{number} is out of range: write a number from {least} to {most}"))
}

fn hundredths(text: &str, range: &RangeInclusive<u64>) -> Result<u64, String> {
    let (before, after) = text.split_once('.').unwrap_or((text, "0"));
    let decimals = match after.len() {
        1 => digits(after).map(|tenths| tenths * 10),
        2 => digits(after),
        _ => None,
    };
    let number = digits(before)
        .and_then(|whole| whole.checked_mul(100)?.checked_add(decimals?))
        .ok_or_else(|| {
            format!(
                "{text:?} is no number with at most two decimals: write it with a point and \
                 nothing between thousands, such as 1250.50"
            )
        })?;
    if range.contains(&number) {
        return Ok(number);
    }
    let (least, most) = (range.start() / 100, range.end() / 100);
    Err(format!("{text} is out of range: write a number from {least} to {most}"))
}
