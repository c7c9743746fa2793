//! Tools in messages, and which of them are stencils: pure.
//!
//! Source: the SDK's `CFX/Structures/Tool.cs` and
//! `CFX/Structures/SolderPastePrinting/SMTStencil.cs`.

use serde_json::{Map, Value};
use stencilward_domain::names::StencilCode;

use super::json::{Garbled, choice, get, shortened, text};
use super::settings::{Settings, StencilCodeFrom};
use crate::link::Trouble;

/// What a tool is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Tool {
    Stencil(StencilCode),
    /// Another tool, by its type.
    Other,
    /// Nobody can say: it has no type, and its code does not begin as those of stencils do.
    Untold(String),
}

/// Whether a washer says that a tool is clean. Absent means unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cleaning {
    Unknown,
    Cleaned,
    NotCleaned,
}

impl Tool {
    pub(super) fn read(tool: &Map<String, Value>, settings: &Settings) -> Result<Self, Garbled> {
        let code = match settings.stencil_code {
            StencilCodeFrom::UniqueIdentifier => text(tool, "UniqueIdentifier"),
            StencilCodeFrom::Name => text(tool, "Name"),
        };
        let begins = |code: &str| {
            let prefix = settings.stencil_prefix.as_deref();
            prefix.is_some_and(|prefix| code.starts_with(prefix))
        };
        match text(tool, "$type").map(class) {
            Some(class) if class.eq_ignore_ascii_case("SMTStencil") => {}
            Some(class) if !class.eq_ignore_ascii_case("Tool") => return Ok(Self::Other),
            _ if code.is_some_and(begins) => {}
            _ => return Ok(Self::Untold(code.unwrap_or_default().to_owned())),
        }
        let Some(code) = code else {
            let why = "a stencil has no code where stencil-code looks for it: see the machine's \
                       tool names";
            return Err((Trouble::Missing, why.to_owned()));
        };
        let code = StencilCode::new(code);
        code.map(Self::Stencil).map_err(|error| (Trouble::Senseless, error.to_string()))
    }

    /// The stencil that a tool is, or why nobody can say whether it is one.
    pub(super) fn stencil(self) -> Result<Option<StencilCode>, Garbled> {
        match self {
            Self::Stencil(code) => Ok(Some(code)),
            Self::Other => Ok(None),
            Self::Untold(code) => {
                let code = shortened(&code);
                let why = format!(
                    "the tool {code} comes without a type: set stencil-prefix to what the codes of \
                     stencils begin with, if it is one"
                );
                Err((Trouble::Missing, why))
            }
        }
    }
}

impl Cleaning {
    pub(super) fn read(tool: &Map<String, Value>) -> Self {
        let states = ["Unknown", "Cleaned", "NotCleaned"];
        match get(tool, "CleaningState").and_then(|value| choice(value, &states)) {
            Some(1) => Self::Cleaned,
            Some(2) => Self::NotCleaned,
            _ => Self::Unknown,
        }
    }
}

/// The class of a type's name: `SMTStencil` of `CFX.Structures.SolderPastePrinting.SMTStencil, CFX`.
pub(super) fn class(name: &str) -> &str {
    let full = name.split(',').next().unwrap_or(name).trim();
    full.rsplit('.').next().unwrap_or(full)
}
