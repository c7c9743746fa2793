//! Topic names and filters (MQTT 3.1.1, section 4.7), and levels that have a name in the settings:
//! `floor/{line}/{machine}/strokes` listens to `floor/+/+/strokes`.

/// The name of a level that has one.
fn name_of(level: &str) -> Option<&str> {
    level.strip_prefix('{')?.strip_suffix('}')
}

/// The names that a topic of the settings gives to levels.
pub(super) fn names(topic: &str) -> impl Iterator<Item = &str> {
    topic.split('/').filter_map(name_of)
}

/// The filter that listens to a topic of the settings.
#[must_use]
pub(super) fn filter(topic: &str) -> String {
    let levels = topic.split('/').map(|level| name_of(level).map_or(level, |_| "+"));
    levels.collect::<Vec<_>>().join("/")
}

/// What a topic has where the settings name a level. They must match.
pub(super) fn levels<'a>(
    settings: &'a str,
    topic: &'a str,
) -> impl Iterator<Item = (&'a str, &'a str)> {
    let pairs = settings.split('/').zip(topic.split('/'));
    pairs.filter_map(|(level, value)| Some((name_of(level)?, value)))
}

/// What is wrong with the topic of a message, if anything.
#[must_use]
pub(super) fn settings_fault(topic: &str) -> Option<&'static str> {
    let mut seen: Vec<&str> = names(topic).collect();
    let named = seen.len();
    seen.sort_unstable();
    seen.dedup();
    let is_name = |name: &&str| {
        !name.is_empty()
            && name.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
    };
    if seen.len() < named {
        Some("two levels have the same name")
    } else if !seen.iter().all(is_name) || filter(topic).contains(['{', '}']) {
        Some("a named level is a whole level, such as floor/{line}/strokes, in small letters")
    } else {
        filter_fault(&filter(topic))
    }
}

/// True when the topic name matches the filter. Wildcards do not match names that begin with
/// `$` (4.7.2).
#[must_use]
pub(super) fn matches(filter: &str, topic: &str) -> bool {
    if topic.starts_with('$') && (filter.starts_with('+') || filter.starts_with('#')) {
        return false;
    }
    let mut levels = topic.split('/');
    for part in filter.split('/') {
        match (part, levels.next()) {
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (part, Some(level)) if part == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

/// True when every topic that matches the narrow filter matches the wide one.
#[must_use]
pub(super) fn covers(wide: &str, narrow: &str) -> bool {
    if narrow.starts_with('$') && (wide.starts_with('+') || wide.starts_with('#')) {
        return false;
    }
    let mut levels = narrow.split('/');
    for part in wide.split('/') {
        match (part, levels.next()) {
            ("#", _) => return true,
            ("+", Some(level)) if level != "#" => {}
            (part, Some(level)) if part == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

/// True when a topic may match both filters.
#[must_use]
pub(super) fn overlap(one: &str, other: &str) -> bool {
    let wild = |filter: &str| filter.starts_with(['+', '#']);
    if (one.starts_with('$') && wild(other)) || (other.starts_with('$') && wild(one)) {
        return false;
    }
    let (mut one, mut other) = (one.split('/'), other.split('/'));
    loop {
        match (one.next(), other.next()) {
            (None, None) | (Some("#"), _) | (_, Some("#")) => return true,
            (Some("+"), Some(_)) | (Some(_), Some("+")) => {}
            (Some(a), Some(b)) if a == b => {}
            _ => return false,
        }
    }
}

/// True when the filter has a wildcard.
#[must_use]
pub(super) fn is_wild(filter: &str) -> bool {
    filter.split('/').any(|level| level == "+" || level == "#")
}

/// What is wrong with a topic filter, if anything (4.7.1, 4.7.3).
#[must_use]
pub(super) fn filter_fault(filter: &str) -> Option<&'static str> {
    let levels: Vec<&str> = filter.split('/').collect();
    let last = levels.len().saturating_sub(1);
    if filter.is_empty() || filter.len() > 65_535 {
        Some("a topic filter has between 1 and 65535 bytes")
    } else if filter.contains('\0') {
        Some("a topic filter holds no NUL")
    } else if levels.iter().any(|level| level.len() > 1 && level.contains(['+', '#'])) {
        Some("+ and # stand for whole levels, such as line-1/+/strokes")
    } else if levels.iter().take(last).any(|level| *level == "#") {
        Some("# stands only at the end, such as line-1/#")
    } else {
        None
    }
}

/// What is wrong with a topic name that is published on, if anything.
#[must_use]
pub(super) fn name_fault(topic: &str) -> Option<&'static str> {
    filter_fault(topic)
        .or_else(|| topic.contains(['+', '#']).then_some("published topics have no + or #"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filters_that_share_a_topic_overlap() {
        for (one, other) in
            [("a/+", "+/b"), ("a/#", "+/b/c"), ("#", "a"), ("a/#", "a"), ("a", "a"), ("+", "#")]
        {
            assert!(overlap(one, other) && overlap(other, one), "{one} {other}");
        }
        for (one, other) in [("a/+", "b/+"), ("a/+", "+/b/c"), ("$SYS/a", "#"), ("a/b", "a")] {
            assert!(!overlap(one, other) && !overlap(other, one), "{one} {other}");
        }
    }

    #[test]
    fn named_levels_listen_to_any() {
        let topic = "floor/{line}/{machine}/strokes";
        assert_eq!(filter(topic), "floor/+/+/strokes");
        let found: Vec<_> = levels(topic, "floor/3/printer-1/strokes").collect();
        assert_eq!(found, [("line", "3"), ("machine", "printer-1")]);
        assert_eq!(settings_fault(topic), None);
        assert_eq!(settings_fault("{a}/#"), None);
        for bad in ["{a}/{a}", "{}/b", "{A}/b", "x{a}/b", "{a}b/c", "{a/b}", "{a}/#/b", ""] {
            assert!(settings_fault(bad).is_some(), "{bad}");
        }
    }

    #[test]
    fn wide_filters_cover_narrow_ones() {
        for (wide, narrow) in
            [("#", "a/#"), ("a/#", "a"), ("a/#", "a/+/b"), ("a/+", "a/b"), ("+/+", "a/+")]
        {
            assert!(covers(wide, narrow), "{wide} {narrow}");
            assert!(!covers(narrow, wide), "{narrow} {wide}");
        }
        for (wide, narrow) in
            [("a/+", "a/#"), ("a/+/#", "a/#"), ("#", "$SYS/a"), ("a/+", "+/b"), ("a", "b")]
        {
            assert!(!covers(wide, narrow), "{wide} {narrow}");
        }
    }

    /// MQTT 3.1.1 (OASIS, 2014-10-29), the non-normative examples of sections 4.7.1.2, 4.7.1.3
    /// and 4.7.2.
    #[test]
    fn the_examples_of_the_standard() {
        let multi = "sport/tennis/player1/#";
        assert!(matches(multi, "sport/tennis/player1"));
        assert!(matches(multi, "sport/tennis/player1/ranking"));
        assert!(matches(multi, "sport/tennis/player1/score/wimbledon"));
        assert!(matches("sport/#", "sport"));
        assert!(matches("#", "sport"));
        assert!(matches("sport/tennis/+", "sport/tennis/player1"));
        assert!(!matches("sport/tennis/+", "sport/tennis/player1/ranking"));
        assert!(!matches("sport/+", "sport"));
        assert!(matches("sport/+", "sport/"));
        assert!(matches("+/+", "/finance"));
        assert!(matches("/+", "/finance"));
        assert!(!matches("+", "/finance"));
        assert!(!matches("#", "$SYS/monitor/Clients"));
        assert!(!matches("+/monitor/Clients", "$SYS/monitor/Clients"));
        assert!(matches("$SYS/#", "$SYS/monitor/Clients"));
        assert!(matches("$SYS/monitor/+", "$SYS/monitor/Clients"));
        for good in ["sport/tennis/#", "#", "+", "+/tennis/#", "sport/+/player1", "/finance"] {
            assert_eq!(filter_fault(good), None, "{good}");
        }
        for bad in ["sport/tennis#", "sport/tennis/#/ranking", "sport+", ""] {
            assert!(filter_fault(bad).is_some(), "{bad}");
        }
    }
}
