//! The tag as PDF (ISO 32000-1), one page of its size: symbol and text, drawn with a font that
//! every reader has.

use pdf_writer::{Content, Finish as _, Name, Pdf, Rect, Ref, Str};

use super::symbol::Symbol;

/// Points in a millimetre.
const MM: f32 = 72.0 / 25.4;
const WIDE: f32 = 100.0 * MM;
const MARGIN: f32 = 4.0 * MM;
const SYMBOL: f32 = 42.0 * MM;
/// Courier: each character is so wide as a share of the size.
const PACE: f32 = 0.6;
const LARGEST: f32 = 20.0;
const SMALL: f32 = 8.0;

const REGULAR: Name<'static> = Name(b"R");
const BOLD: Name<'static> = Name(b"B");

/// What is on the tag, in words.
pub(super) struct Said {
    pub(super) code: String,
    /// Beside the symbol.
    pub(super) about: Vec<String>,
    /// Below it: a heading, and lines.
    pub(super) hold: Option<(String, Vec<String>)>,
    /// What stands where the code is too long for a symbol.
    pub(super) too_long: String,
}

/// One line of text where it belongs.
struct Line {
    font: Name<'static>,
    size: f32,
    at: (f32, f32),
    text: String,
}

pub(super) fn pdf(symbol: Option<&Symbol>, said: &Said) -> Vec<u8> {
    let below = said.hold.as_ref().map(|(heading, lines)| {
        let wrapped = lines.iter().flat_map(|line| wrap(line, WIDE - 2.0 * MARGIN, SMALL));
        (heading, wrapped.collect::<Vec<_>>())
    });
    let rows = below.as_ref().map_or(0.0, |(_, lines)| 2.5 + lines.len() as f32);
    let high = 2.0 * MARGIN + SYMBOL + rows * 1.25 * SMALL;
    let mut content = Content::new();
    let top = high - MARGIN;
    if let Some(symbol) = symbol {
        draw(&mut content, symbol, top);
    }
    let left = 2.0 * MARGIN + SYMBOL;
    let mut lines = beside(symbol, said, (left, top));
    if let Some((heading, wrapped)) = below {
        let mut y = top - SYMBOL - 1.5 * SMALL;
        let size = 1.25 * SMALL;
        lines.push(Line { font: BOLD, size, at: (MARGIN, y), text: heading.clone() });
        for text in wrapped {
            y -= 1.25 * SMALL;
            lines.push(Line { font: REGULAR, size: SMALL, at: (MARGIN, y), text });
        }
    }
    for line in lines {
        write(&mut content, &line);
    }
    file(&said.code, high, &content.finish())
}

/// Code and what it is, beside the symbol.
fn beside(symbol: Option<&Symbol>, said: &Said, (left, top): (f32, f32)) -> Vec<Line> {
    let room = WIDE - left - MARGIN;
    let length = said.code.chars().count().max(1) as f32;
    let size = (room / (PACE * length)).clamp(SMALL, LARGEST);
    let mut y = top;
    let mut lines = Vec::new();
    for text in wrap(&said.code, room, size) {
        y -= size;
        lines.push(Line { font: BOLD, size, at: (left, y), text });
    }
    let too_long = symbol.is_none().then_some(&said.too_long);
    for text in said.about.iter().chain(too_long).flat_map(|text| wrap(text, room, SMALL)) {
        y -= 1.5 * SMALL;
        lines.push(Line { font: REGULAR, size: SMALL, at: (left, y), text });
    }
    lines
}

/// The symbol with its top left corner at the margin.
fn draw(content: &mut Content, symbol: &Symbol, top: f32) {
    let module = SYMBOL / symbol.wide.max(symbol.high) as f32;
    for (x, y) in &symbol.dark {
        let (x, y) = (MARGIN + *x as f32 * module, top - (*y + 1) as f32 * module);
        content.rect(x, y, module, module);
    }
    content.fill_nonzero();
}

fn write(content: &mut Content, line: &Line) {
    content.begin_text().set_font(line.font, line.size);
    content.next_line(line.at.0, line.at.1).show(Str(&win_ansi(&line.text)));
    content.end_text();
}

fn file(title: &str, high: f32, content: &[u8]) -> Vec<u8> {
    let [catalogue, pages, page, regular, bold, drawn, info] = [1, 2, 3, 4, 5, 6, 7].map(Ref::new);
    let mut pdf = Pdf::new();
    pdf.catalog(catalogue).pages(pages);
    pdf.document_info(info).title(pdf_writer::TextStr(title));
    pdf.pages(pages).kids([page]).count(1);
    let mut sheet = pdf.page(page);
    sheet.media_box(Rect::new(0.0, 0.0, WIDE, high)).parent(pages).contents(drawn);
    sheet.resources().fonts().pair(REGULAR, regular).pair(BOLD, bold);
    sheet.finish();
    for (font, name) in [(regular, &b"Courier"[..]), (bold, b"Courier-Bold")] {
        let mut font = pdf.type1_font(font);
        font.base_font(Name(name)).encoding_predefined(Name(b"WinAnsiEncoding"));
    }
    pdf.stream(drawn, content);
    pdf.finish()
}

/// Lines of whole words, as far as they fit; a word that is too long is broken.
fn wrap(text: &str, room: f32, size: f32) -> Vec<String> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let most = ((room / (PACE * size)) as usize).max(1);
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for part in letters.chunks(most) {
            let line = lines.last_mut().map(|line| line.chars().count()).unwrap_or_default();
            let part: String = part.iter().collect();
            match lines.last_mut() {
                Some(last) if line == 0 => last.push_str(&part),
                Some(last) if line + 1 + part.chars().count() <= most => {
                    last.push(' ');
                    last.push_str(&part);
                }
                _ => lines.push(part),
            }
        }
    }
    lines
}

/// The text as the font has it (ISO 32000-1, annex D); a question mark for what it has not. The
/// symbol has every character.
fn win_ansi(text: &str) -> Vec<u8> {
    let of = |c: char| match c {
        ' '..='~' | '\u{a0}'..='\u{ff}' => u8::try_from(c).ok(),
        '\u{20ac}' => Some(0x80),
        '\u{2026}' => Some(0x85),
        '\u{2018}' => Some(0x91),
        '\u{2019}' => Some(0x92),
        '\u{201c}' => Some(0x93),
        '\u{201d}' => Some(0x94),
        '\u{201e}' => Some(0x84),
        '\u{2022}' => Some(0x95),
        '\u{2013}' => Some(0x96),
        '\u{2014}' => Some(0x97),
        '\u{202f}' => Some(0xa0),
        _ => None,
    };
    text.chars().map(|c| of(c).unwrap_or(b'?')).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words_and_within_what_is_too_long() {
        let room = 10.0 * PACE * SMALL + 0.1;
        let wrapped = wrap("a bent corner near the 123456789012345 mark", room, SMALL);
        assert_eq!(wrapped, ["a bent", "corner", "near the", "1234567890", "12345 mark"]);
        assert_eq!(wrap("", room, SMALL), [""]);
    }

    #[test]
    fn what_the_font_has_not_is_a_question_mark() {
        assert_eq!(win_ansi("Füße 5 € – 漢"), b"F\xfc\xdfe 5 \x80 \x96 ?");
    }
}
