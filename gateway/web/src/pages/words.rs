//! Every visible sentence, number and time, in the language and zone of whoever looks.

use std::fmt::Write as _;
use std::sync::OnceLock;
use std::time::Duration;

use axum::extract::FromRequestParts;
use axum::http::header::ACCEPT_LANGUAGE;
use axum::http::request::Parts;
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use jiff::tz::TimeZone;
use maud::{Markup, html};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::door::Who;

/// The catalogues, one a language.
pub(crate) const CATALOGUES: [(Language, &str); 2] = [
    (Language::English, include_str!("words/en.ftl")),
    (Language::German, include_str!("words/de.ftl")),
];

/// A language the pages speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Language {
    /// British English.
    #[default]
    English,
    /// German.
    German,
}

impl Language {
    /// Its tag (BCP 47).
    #[must_use]
    pub fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// The language of this tag, whatever the region.
    #[must_use]
    pub fn of(tag: &str) -> Option<Self> {
        let primary = tag.trim().split('-').next().unwrap_or_default();
        CATALOGUES
            .map(|(language, _)| language)
            .into_iter()
            .find(|language| primary.eq_ignore_ascii_case(language.tag()))
    }

    /// The first of ours that `Accept-Language` (RFC 9110, 12.5.4) names, by its weights.
    fn accepted(header: &str) -> Option<Self> {
        let weighed = header.split(',').filter_map(|range| {
            let (tag, weight) = range.split_once(";q=").unwrap_or((range, "1"));
            let weight: f32 = weight.trim().parse().ok().filter(|weight| *weight > 0.0)?;
            Some((Self::of(tag)?, weight))
        });
        let heavier =
            |best: (Self, f32), next: (Self, f32)| if next.1 > best.1 { next } else { best };
        weighed.reduce(heavier).map(|(language, _)| language)
    }
}

/// How to speak to one person.
#[derive(Debug, Clone)]
pub(crate) struct Words {
    pub(crate) language: Language,
    zone: TimeZone,
    site: String,
    /// Whom we speak to.
    pub(crate) who: Who,
    /// All up to this event is told.
    pub(crate) head: Position,
}

impl FromRequestParts<Surface> for Words {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(
        parts: &mut Parts,
        surface: &Surface,
    ) -> Result<Self, Self::Rejection> {
        let wished = parts.headers.get(ACCEPT_LANGUAGE).and_then(|value| value.to_str().ok());
        let language = wished.and_then(Language::accepted).unwrap_or(surface.premises.language);
        let premises = &surface.premises;
        let words = Self::new(language, premises.zone.clone(), premises.name.clone());
        let Ok(who) = Who::from_request_parts(parts, surface).await;
        Ok(Self { who, head: surface.archive.head(), ..words })
    }
}

/// Something put into a sentence.
pub(crate) type Part<'a> = FluentValue<'a>;

type Bundle = FluentBundle<FluentResource>;

/// A catalogue that does not read is found by a test; here it would show its keys.
fn bundle(language: Language, text: &str) -> Bundle {
    let resource = match FluentResource::try_new(text.to_owned()) {
        Ok(resource) | Err((resource, _)) => resource,
    };
    let tags = language.tag().parse().ok().into_iter().collect();
    let mut bundle = Bundle::new_concurrent(tags);
    bundle.set_use_isolating(false);
    // Of two messages with one key the first stays.
    let _ = bundle.add_resource(resource);
    bundle
}

fn catalogue(language: Language) -> &'static Bundle {
    static BUNDLES: OnceLock<[Bundle; 2]> = OnceLock::new();
    let bundles = BUNDLES.get_or_init(|| CATALOGUES.map(|(language, text)| bundle(language, text)));
    match language {
        Language::English => &bundles[0],
        Language::German => &bundles[1],
    }
}

impl Words {
    pub(crate) fn new(language: Language, zone: TimeZone, site: String) -> Self {
        Self { language, zone, site, who: Who::default(), head: Position(0) }
    }

    /// The plant's name.
    pub(crate) fn site(&self) -> &str {
        &self.site
    }

    /// The sentence of this key.
    pub(crate) fn say(&self, key: &str) -> String {
        self.tell(key, [])
    }

    /// The sentence of this key with these parts.
    pub(crate) fn tell<'a, const N: usize>(
        &self,
        key: &str,
        parts: [(&'a str, Part<'a>); N],
    ) -> String {
        self.tell_all(key, &parts.into_iter().collect())
    }

    /// The sentence of this key with as many parts. A missing one shows as its key, for tests.
    pub(crate) fn tell_all(&self, key: &str, parts: &FluentArgs<'_>) -> String {
        self.if_known(key, parts).unwrap_or_else(|| format!("⟦{key}⟧"))
    }

    /// The sentence of this key, if there is one.
    pub(crate) fn if_known(&self, key: &str, parts: &FluentArgs<'_>) -> Option<String> {
        let bundle = catalogue(self.language);
        let pattern = bundle.get_message(key)?.value()?;
        Some(bundle.format_pattern(pattern, Some(parts), &mut Vec::new()).into_owned())
    }

    /// A count with its thousands apart.
    pub(crate) fn number(&self, count: u64) -> String {
        let digits = count.to_string();
        let apart = if self.language == Language::German { '.' } else { ',' };
        let mut text = String::new();
        for (at, digit) in digits.chars().enumerate() {
            if at > 0 && (digits.len() - at).is_multiple_of(3) {
                text.push(apart);
            }
            text.push(digit);
        }
        text
    }

    /// Hundredths as a decimal number.
    pub(crate) fn centi(&self, count: i64) -> String {
        let sign = if count < 0 { "-" } else { "" };
        let count = count.unsigned_abs();
        let point = if self.language == Language::German { ',' } else { '.' };
        format!("{sign}{}{point}{:02}", self.number(count / 100), count % 100)
    }

    /// A share of a whole in per cent, rounded down: 99.9 % is not the end.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(crate) fn percent(&self, ratio: f64) -> String {
        format!("{}\u{a0}%", self.number((ratio.max(0.0) * 100.0) as u64))
    }

    /// A span, in its two largest units.
    pub(crate) fn span(&self, span: Duration) -> String {
        let seconds = span.as_secs();
        let units = [
            ("day", seconds / 86_400),
            ("hour", seconds / 3_600 % 24),
            ("minute", seconds / 60 % 60),
        ];
        let mut text = String::new();
        let from = units.iter().position(|(_, count)| *count > 0);
        let Some(from) = from else {
            return format!("{seconds}\u{a0}s");
        };
        for (unit, count) in units.iter().skip(from).take(2).filter(|(_, count)| *count > 0) {
            let gap = if text.is_empty() { "" } else { " " };
            let _ = write!(text, "{gap}{count}\u{a0}{}", self.say(&format!("unit-{unit}")));
        }
        text
    }

    /// An instant in the plant's zone, to the minute.
    pub(crate) fn time(&self, at: Timestamp) -> String {
        self.shown(at, "%-d %b %Y, %H:%M", "%d.%m.%Y, %H:%M")
    }

    /// A day in the plant's zone.
    pub(crate) fn day(&self, at: Timestamp) -> String {
        self.shown(at, "%-d %b %Y", "%d.%m.%Y")
    }

    /// A calendar day, counted from 1970-01-01.
    pub(crate) fn calendar_day(&self, day: i32) -> String {
        let noon = Timestamp((i64::from(day) * 24 + 12) * 3_600_000);
        Self { zone: TimeZone::UTC, ..self.clone() }.day(noon)
    }

    fn shown(&self, at: Timestamp, english: &str, german: &str) -> String {
        let form = if self.language == Language::German { german } else { english };
        match jiff::Timestamp::from_millisecond(at.0) {
            Ok(instant) => instant.to_zoned_datetime(self.zone.clone()).strftime(form).to_string(),
            Err(_) => at.0.to_string(),
        }
    }

    /// An instant as HTML, exact for programs.
    pub(crate) fn when(&self, at: Timestamp) -> Markup {
        let exact = jiff::Timestamp::from_millisecond(at.0).map(|instant| instant.to_string());
        html! { time datetime=(exact.unwrap_or_default()) { (self.time(at)) } }
    }

    /// A local date and time as a form gives it, `2026-11-26T14:05`.
    pub(crate) fn instant(&self, text: &str) -> Option<Timestamp> {
        let civil: jiff::civil::DateTime = text.parse().ok()?;
        let zoned = civil.to_zoned_datetime(self.zone.clone()).ok()?;
        Some(Timestamp(zoned.timestamp().as_millisecond()))
    }

    /// What zone the times are in.
    pub(crate) fn zone_name(&self) -> String {
        self.zone.iana_name().unwrap_or("UTC").to_owned()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    fn keys(text: &str) -> BTreeSet<&str> {
        let lines = text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_lowercase()));
        lines.filter_map(|line| Some(line.split_once(" =")?.0)).collect()
    }

    #[test]
    fn both_catalogues_read_and_have_the_same_keys_once() {
        let [(_, english), (_, german)] = CATALOGUES;
        for text in [english, german] {
            assert!(FluentResource::try_new(text.to_owned()).is_ok());
            let entries =
                text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_lowercase()));
            assert_eq!(entries.count(), keys(text).len(), "a key is there twice");
        }
        let (english, german) = (keys(english), keys(german));
        assert_eq!(english.difference(&german).collect::<Vec<_>>(), [&""; 0]);
        assert_eq!(german.difference(&english).collect::<Vec<_>>(), [&""; 0]);
        assert!(english.len() > 100, "{}", english.len());
    }

    #[test]
    fn the_language_is_the_one_wished_for_most() {
        for (header, language) in [
            ("de", Some(Language::German)),
            ("de-AT,en;q=0.8", Some(Language::German)),
            ("fr,en;q=0.3,de;q=0.7", Some(Language::German)),
            ("en-GB,de;q=0.9", Some(Language::English)),
            ("fr, de;q=0", None),
            ("", None),
        ] {
            assert_eq!(Language::accepted(header), language, "{header}");
        }
    }

    #[test]
    fn numbers_and_times_are_those_of_the_place() {
        let zone = TimeZone::get("Europe/Vienna").expect("a zone of the database");
        let of = |language| Words::new(language, zone.clone(), String::new());
        let (english, german) = (of(Language::English), of(Language::German));
        assert_eq!(english.number(1_234_567), "1,234,567");
        assert_eq!(german.number(1_234), "1.234");
        assert_eq!(german.centi(-123_450), "-1.234,50");
        let summer = Timestamp(1_783_944_000_000);
        assert_eq!(english.time(summer), "13 Jul 2026, 14:00");
        assert_eq!(german.time(summer), "13.07.2026, 14:00");
        assert_eq!(german.instant("2026-07-13T14:00"), Some(summer));
        assert_eq!(english.span(Duration::from_secs(7_500)), "2\u{a0}h 5\u{a0}min");
    }
}
