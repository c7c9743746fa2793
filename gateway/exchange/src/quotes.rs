//! Quotes that RFC 4180 does not allow. Readers that guess what they mean change values, or take
//! the rest of the file for one cell.

use crate::fault::RowFault;

#[derive(Clone, Copy, PartialEq, Eq)]
enum At {
    Start,
    Plain,
    Quoted,
    /// After a quote inside a quoted cell: its end, or the first of two.
    Quote,
}

/// Every misplaced quote (RFC 4180, section 2, rules 5 to 7).
pub(crate) fn faults(text: &str) -> Vec<RowFault> {
    let mut faults = Vec::new();
    let (mut line, mut opened) = (1, 1);
    let mut at = At::Start;
    for byte in text.bytes() {
        at = match (at, byte) {
            (At::Quoted, b'"') => At::Quote,
            (At::Quoted, _) => At::Quoted,
            (At::Start, b'"') => {
                opened = line;
                At::Quoted
            }
            (At::Quote, b'"') => At::Quoted,
            (_, b',' | b'\n' | b'\r') => At::Start,
            (At::Quote, _) => {
                faults.push(RowFault::of_row(
                    line,
                    "text follows the closing quote of a cell: write a quote inside a cell twice",
                ));
                At::Plain
            }
            (At::Plain, b'"') => {
                faults.push(RowFault::of_row(
                    line,
                    "a quote inside a cell that is not quoted: quote the cell and write the \
                     quote twice",
                ));
                At::Plain
            }
            (At::Start | At::Plain, _) => At::Plain,
        };
        line += u64::from(byte == b'\n');
    }
    if at == At::Quoted {
        faults.push(RowFault::of_row(opened, "the quote of a cell is never closed: close it"));
    }
    faults
}
