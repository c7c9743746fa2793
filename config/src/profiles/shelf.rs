//! Where profiles are found: in the plant's own folder, then among those shipped.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::fault::Fault;

/// The profiles within this program.
const SHIPPED: [(&str, &str); 4] = [
    ("module-pulses", include_str!("../../profiles/module-pulses.yaml")),
    ("printer-total", include_str!("../../profiles/printer-total.yaml")),
    ("rack-slots", include_str!("../../profiles/rack-slots.yaml")),
    ("washer-status", include_str!("../../profiles/washer-status.yaml")),
];

/// Where profiles are looked for.
#[derive(Debug, Clone)]
pub struct Shelf {
    folder: Option<PathBuf>,
}

/// The text of a profile.
pub(super) struct Text {
    pub(super) file: String,
    pub(super) text: String,
    /// True when it is the plant's own.
    pub(super) own: bool,
}

impl Shelf {
    /// Only those shipped.
    #[must_use]
    pub fn shipped() -> Self {
        Self { folder: None }
    }

    /// Those in the folder `profiles` of this folder, then those shipped.
    #[must_use]
    pub fn beside(folder: &Path) -> Self {
        Self { folder: Some(folder.join("profiles")) }
    }

    /// The profile of this name; none when there is none.
    pub(super) fn find(&self, name: &str) -> Option<Result<Text, Vec<Fault>>> {
        let own = self.folder.as_ref().filter(|_| self.own().contains(name));
        if let Some(folder) = own {
            let path = folder.join(format!("{name}.yaml"));
            let file = path.display().to_string();
            let text = crate::text(&path, "a profile that this user may read");
            return Some(text.map(|text| Text { file, text, own: true }));
        }
        let (name, text) = SHIPPED.iter().find(|(shipped, _)| *shipped == name)?;
        let file = format!("profile {name}");
        Some(Ok(Text { file, text: (*text).to_owned(), own: false }))
    }

    /// The names of all.
    pub(super) fn names(&self) -> Vec<String> {
        let mut names = self.own();
        names.extend(SHIPPED.iter().map(|(name, _)| (*name).to_owned()));
        names.into_iter().collect()
    }

    /// The names of the plant's own.
    pub(super) fn own(&self) -> BTreeSet<String> {
        let entries = self.folder.as_ref().and_then(|folder| std::fs::read_dir(folder).ok());
        let files = entries.into_iter().flatten().filter_map(Result::ok);
        let names = files.filter_map(|entry| entry.file_name().into_string().ok());
        names.filter_map(|name| name.strip_suffix(".yaml").map(str::to_owned)).collect()
    }

    /// Each profile of the plant's own, or of those shipped where it has no folder.
    pub(super) fn each(&self) -> Vec<(String, Result<Text, Vec<Fault>>)> {
        let names =
            if self.folder.is_some() { self.own() } else { self.names().into_iter().collect() };
        names.into_iter().filter_map(|name| Some((name.clone(), self.find(&name)?))).collect()
    }
}
