//! A code as Data Matrix ECC 200 (ISO/IEC 16022): which modules are dark.

use datamatrix::{DataMatrix, SymbolList};

/// Light modules around the symbol: the quiet zone (ISO/IEC 16022, one module at the least).
const QUIET: usize = 2;

/// The symbol with its quiet zone.
pub(super) struct Symbol {
    /// In modules.
    pub(super) wide: usize,
    /// In modules.
    pub(super) high: usize,
    /// Columns and rows from the top left corner.
    pub(super) dark: Vec<(usize, usize)>,
}

impl Symbol {
    /// None when the code is too long for one.
    pub(super) fn of(code: &str) -> Option<Self> {
        let matrix = DataMatrix::encode_str(code, SymbolList::default()).ok()?;
        let bitmap = matrix.bitmap();
        let (wide, high) = (bitmap.width() + 2 * QUIET, bitmap.height() + 2 * QUIET);
        let dark = bitmap.pixels().map(|(x, y)| (x + QUIET, y + QUIET)).collect();
        Some(Self { wide, high, dark })
    }
}
