//! Topics (Sparkplug 3.0.0, 4.1): `spBv1.0/group/type/edge-node[/device]`, and that of STATE.

use std::fmt;

/// The first level of every topic of payload version B.
const NAMESPACE: &str = "spBv1.0";

/// An edge node: its group and its id.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct NodeName {
    pub(super) group: String,
    pub(super) node: String,
}

impl fmt::Display for NodeName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.group, self.node)
    }
}

/// What a message is; `N` of an edge node, `D` of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Birth,
    Death,
    Data,
    Command,
}

impl Kind {
    const ALL: [Self; 4] = [Self::Birth, Self::Death, Self::Data, Self::Command];

    fn word(self) -> &'static str {
        match self {
            Self::Birth => "BIRTH",
            Self::Death => "DEATH",
            Self::Data => "DATA",
            Self::Command => "CMD",
        }
    }
}

/// A topic, taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Topic {
    pub(super) node: NodeName,
    pub(super) kind: Kind,
    pub(super) device: Option<String>,
}

impl Topic {
    pub(super) fn new(node: &NodeName, kind: Kind, device: Option<&str>) -> Self {
        Self { node: node.clone(), kind, device: device.map(str::to_owned) }
    }

    /// None when it is no topic of an edge node or device.
    pub(super) fn parse(text: &str) -> Option<Self> {
        let levels: Vec<&str> = text.split('/').collect();
        let (group, word, node, device) = match levels.as_slice() {
            [NAMESPACE, group, word, node] => (group, word, node, None),
            [NAMESPACE, group, word, node, device] => (group, word, node, Some(*device)),
            _ => return None,
        };
        let word = word.strip_prefix(if device.is_some() { 'D' } else { 'N' })?;
        let kind = Kind::ALL.into_iter().find(|kind| kind.word() == word)?;
        let node = NodeName { group: (*group).to_owned(), node: (*node).to_owned() };
        Some(Self::new(&node, kind, device))
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let NodeName { group, node } = &self.node;
        let (kind, level) = (self.kind.word(), if self.device.is_some() { 'D' } else { 'N' });
        write!(f, "{NAMESPACE}/{group}/{level}{kind}/{node}")?;
        self.device.as_ref().map_or(Ok(()), |device| write!(f, "/{device}"))
    }
}

/// Where a host application says whether it is there.
pub(super) fn state(host: &str) -> String {
    format!("{NAMESPACE}/STATE/{host}")
}

/// What a host application says there (4.2.3, 6.4.27 as released).
pub(super) fn state_payload(online: bool, timestamp: u64) -> Vec<u8> {
    serde_json::json!({ "online": online, "timestamp": timestamp }).to_string().into_bytes()
}

/// What a host application said: whether it is there, and since when. Earlier versions of the
/// specification said it in one word, without a time.
pub(super) fn read_state(payload: &[u8]) -> Option<(bool, u64)> {
    match payload {
        b"ONLINE" => return Some((true, 0)),
        b"OFFLINE" => return Some((false, 0)),
        _ => {}
    }
    let json: serde_json::Value = serde_json::from_slice(payload).ok()?;
    let time = json.get("timestamp").and_then(serde_json::Value::as_u64).unwrap_or_default();
    Some((json.get("online")?.as_bool()?, time))
}

/// What is wrong with an id that becomes a level of a topic (4.1.2, 4.1.4, 4.1.5).
pub(super) fn id_fault(id: &str) -> Option<&'static str> {
    if id.is_empty() || id.len() > 200 {
        Some("an id has between 1 and 200 bytes")
    } else if id.contains(['+', '/', '#']) || id.chars().any(char::is_control) {
        Some("an id holds no +, /, # or control character: it is one level of a topic")
    } else {
        None
    }
}

/// A name as an id: what an id must not hold, and `%`, becomes `%` and its code (as in RFC 3986).
pub(super) fn as_id(name: &str) -> String {
    name.chars().fold(String::new(), |mut id, c| {
        match c {
            '+' | '/' | '#' | '%' => id.push_str(&format!("%{:02X}", u32::from(c))),
            c => id.push(c),
        }
        id
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_topic_comes_back_as_it_was_written() {
        for text in [
            "spBv1.0/Plant/NBIRTH/Printer 1",
            "spBv1.0/Plant/NDEATH/Printer 1",
            "spBv1.0/Plant/NDATA/Printer 1",
            "spBv1.0/Plant/NCMD/Printer 1",
            "spBv1.0/Plant/DBIRTH/Line/Printer",
            "spBv1.0/Plant/DDEATH/Line/Printer",
            "spBv1.0/Plant/DDATA/Line/Printer",
            "spBv1.0/Plant/DCMD/Line/Printer",
        ] {
            assert_eq!(Topic::parse(text).map(|topic| topic.to_string()).as_deref(), Some(text));
        }
        for text in [
            "spAv1.0/Plant/NBIRTH/Printer",
            "spBv1.0/Plant/NBIRTH/Line/Printer",
            "spBv1.0/Plant/DBIRTH/Line",
            "spBv1.0/Plant/NSOMETHING/Line",
            "spBv1.0/STATE/host",
            "spBv1.0/Plant/NDATA/a/b/c",
            "",
        ] {
            assert_eq!(Topic::parse(text), None, "{text}");
        }
    }

    #[test]
    fn states_of_all_versions_are_read() {
        for (payload, read) in [
            (&b"{\"online\":true,\"timestamp\":7}"[..], Some((true, 7))),
            (b"{\"online\":false,\"bdSeq\":3,\"timestamp\":9}", Some((false, 9))),
            (b"ONLINE", Some((true, 0))),
            (b"OFFLINE", Some((false, 0))),
            (b"{\"timestamp\":7}", None),
            (b"\xff", None),
        ] {
            assert_eq!(read_state(payload), read);
        }
        assert_eq!(read_state(&state_payload(true, 5)), Some((true, 5)));
    }

    #[test]
    fn any_name_becomes_an_id() {
        for (name, id) in [("ST-1", "ST-1"), ("A/1+#%", "A%2F1%2B%23%25")] {
            assert_eq!(as_id(name), id);
            assert_eq!(id_fault(id), None);
        }
        assert!(id_fault("a/b").is_some() && id_fault("").is_some());
    }
}
