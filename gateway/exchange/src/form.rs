//! The forms in which a list is written.

/// How a list is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Form {
    /// Comma-separated values (RFC 4180), the first line naming the columns.
    Csv,
    /// One JSON object (RFC 8259) a line, its keys the columns.
    JsonLines,
}

impl Form {
    /// The form by its short name, `csv` or `jsonl`.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "csv" => Some(Self::Csv),
            "jsonl" => Some(Self::JsonLines),
            _ => None,
        }
    }

    /// The form that a file's name ends with: `.jsonl` and `.ndjson` are JSON lines, all else CSV.
    #[must_use]
    pub fn of_file(name: &str) -> Self {
        let ending = name.rsplit('.').next().unwrap_or_default();
        let lines = ["jsonl", "ndjson"].iter().any(|known| ending.eq_ignore_ascii_case(known));
        if lines { Self::JsonLines } else { Self::Csv }
    }

    /// The form of a media type, whatever its parameters. `text/csv` is registered by RFC 4180;
    /// those of JSON lines are common practice.
    #[must_use]
    pub fn of_media_type(media_type: &str) -> Option<Self> {
        let essence = media_type.split(';').next().unwrap_or_default().trim();
        match essence.to_ascii_lowercase().as_str() {
            "text/csv" => Some(Self::Csv),
            "application/jsonl" | "application/x-ndjson" => Some(Self::JsonLines),
            _ => None,
        }
    }

    /// The media type in which a list of this form is sent.
    #[must_use]
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Csv => "text/csv; charset=utf-8; header=present",
            Self::JsonLines => "application/jsonl",
        }
    }
}
