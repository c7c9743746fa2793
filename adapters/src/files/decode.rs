//! From a file's content to signals, or to what is wrong with it: pure.

use std::fmt::Write as _;
use std::time::SystemTime;

use sha2::{Digest, Sha256};
use stencilward_domain::machine::IDENTITIES_KEPT;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{OrderSpec, Said, Signal};
use stencilward_domain::time::Timestamp;
use stencilward_exchange::{Form, orders};

use super::folder::LARGEST_FILE;
use super::watch::Entry;

/// Most orders in one file: as many as the site recognises when they come again.
pub(super) const MOST_ORDERS: usize = IDENTITIES_KEPT;
/// Longest part of a name that is repeated elsewhere, in characters.
const LONGEST_PART: usize = 60;

/// The form of a file by its name; none when it is not for us. A name that begins with a dot is
/// one that other programs hide.
pub(super) fn form(name: &str) -> Option<Form> {
    let (stem, ending) = name.rsplit_once('.')?;
    if stem.is_empty() || stem.starts_with('.') {
        return None;
    }
    match ending.to_ascii_lowercase().as_str() {
        "csv" => Some(Form::Csv),
        "json" | "jsonl" => Some(Form::JsonLines),
        _ => None,
    }
}

/// What is in a file, without whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Content {
    Whole(Vec<u8>),
    /// Larger than [`LARGEST_FILE`]; not read.
    TooLarge,
}

/// By which a file is recognised: sixteen bytes of SHA-256 over its name, time and content, in
/// hexadecimal digits.
pub(super) fn digest(entry: &Entry, content: &Content) -> String {
    let since = entry.modified.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    let mut hash = Sha256::new();
    hash.update(entry.name.as_bytes());
    hash.update([0]);
    hash.update(since.as_nanos().to_be_bytes());
    hash.update(entry.length.to_be_bytes());
    if let Content::Whole(bytes) = content {
        hash.update(bytes);
    }
    hash.finalize().iter().take(16).fold(String::new(), |mut text, byte| {
        // Writing to a text cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The orders of a file, or every fault of it in words.
pub(super) fn orders_of(name: &str, content: &Content) -> Result<Vec<OrderSpec>, Vec<String>> {
    let Content::Whole(bytes) = content else {
        let most = LARGEST_FILE / (1024 * 1024);
        return Err(vec![format!("the file is larger than {most} MiB: split it")]);
    };
    let form = form(name).unwrap_or(Form::Csv);
    let orders = orders::read(form, bytes)
        .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>())?;
    if orders.len() > MOST_ORDERS {
        let count = orders.len();
        return Err(vec![format!("{count} orders; a file may hold {MOST_ORDERS}: split it")]);
    }
    Ok(orders)
}

/// One signal for each order, each with an identity of its own.
pub(super) fn signals(
    machine: &MachineName,
    name: &str,
    digest: &str,
    orders: Vec<OrderSpec>,
    at: Timestamp,
) -> Vec<Signal> {
    let name = clipped(name);
    let orders = (1_usize..).zip(orders);
    let signal = |(row, order)| Signal {
        machine: machine.clone(),
        received: at,
        machine_time: None,
        identity: Some(format!("{name}/{digest}/{row}")),
        said: Said::OrderReleased(order),
    };
    orders.map(signal).collect()
}

/// The name under which a file is kept: no other file has it, and the same file always has it.
pub(super) fn kept_name(name: &str, digest: &str) -> String {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    let mark: String = digest.chars().take(12).collect();
    format!("{}.{mark}.{ending}", clipped(stem))
}

/// What is written beside a faulty file.
pub(super) fn report(name: &str, faults: &[String]) -> String {
    let count = match faults.len() {
        1 => "1 fault".to_owned(),
        count => format!("{count} faults"),
    };
    let lines = faults.join("\n");
    format!(
        "{name}: nothing of this file was taken in, because of {count}.\n\
         Mend it and drop it again, under any name.\n\n{lines}\n"
    )
}

fn clipped(text: &str) -> String {
    text.chars().take(LONGEST_PART).collect()
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    fn entry(name: &str, modified: u64) -> Entry {
        let modified = SystemTime::UNIX_EPOCH + Duration::from_secs(modified);
        Entry { name: name.to_owned(), length: 4, modified }
    }

    #[test]
    fn only_lists_are_for_us() {
        for name in ["a.csv", "A.CSV", "a.b.jsonl", "a.json"] {
            assert!(form(name).is_some(), "{name}");
        }
        for name in ["a.csv.tmp", "csv", ".csv", ".a.csv", "a.txt", "a", ""] {
            assert_eq!(form(name), None, "{name}");
        }
    }

    #[test]
    fn a_file_is_another_when_its_name_time_or_content_is() {
        let content = |text: &str| Content::Whole(text.as_bytes().to_vec());
        let all = [
            digest(&entry("a.csv", 1), &content("abcd")),
            digest(&entry("b.csv", 1), &content("abcd")),
            digest(&entry("a.csv", 2), &content("abcd")),
            digest(&entry("a.csv", 1), &content("abce")),
            digest(&entry("a.csv", 1), &Content::TooLarge),
        ];
        let different: std::collections::BTreeSet<&String> = all.iter().collect();
        assert_eq!(different.len(), all.len(), "{all:?}");
        assert!(all.iter().all(|digest| digest.len() == 32), "{all:?}");
        assert_eq!(digest(&entry("a.csv", 1), &content("abcd")), all[0]);
    }

    #[test]
    fn a_long_name_is_kept_short() {
        let name = format!("{}.csv", "ä".repeat(120));
        let kept = kept_name(&name, "0123456789abcdef");
        assert!(kept.ends_with(".0123456789ab.csv"), "{kept}");
        assert!(kept.len() < 200, "{kept}");
    }

    #[test]
    fn too_many_orders_are_refused_whole() {
        let list = |count| {
            let rows: String = (0..count).map(|row| format!("WO-{row}\n")).collect();
            Content::Whole(format!("order\n{rows}").into_bytes())
        };
        assert_eq!(orders_of("a.csv", &list(MOST_ORDERS)).unwrap().len(), MOST_ORDERS);
        let faults = orders_of("a.csv", &list(MOST_ORDERS + 1)).unwrap_err();
        assert!(faults[0].contains("split it"), "{faults:?}");
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(
            bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..200), lines: bool,
        ) {
            let name = if lines { "a.jsonl" } else { "a.csv" };
            if let Err(faults) = orders_of(name, &Content::Whole(bytes)) {
                proptest::prop_assert!(!faults.is_empty());
            }
        }
    }
}
