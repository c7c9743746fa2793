//! The makes of line: where the strokes of each are told, and what is told beside them.

use stencilward_domain::event::BasisKind;
use stencilward_domain::signal::Width;

/// What tells of a printer's strokes and is booked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Source {
    /// The printer's own total, read again and again.
    Polled(Width),
    /// The printer's own total, sent by itself.
    Sent(Width),
    /// Strokes one by one or in lots, sent by the printer.
    Strokes,
    /// The total of an I/O module's pulse counter, read again and again.
    Pulses(Width),
    /// Edges that an I/O module counts and sends.
    Edges,
    /// An order's boards as they are counted.
    Boards,
    /// An order's boards, told at its end.
    Finished,
    /// A person's entries.
    Hand,
}

/// What is told beside it, and only compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Second {
    None,
    Pulses,
    Order,
    Counter,
}

/// One make of line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Make {
    pub(crate) source: Source,
    /// The printer says by itself which stencil is in it.
    pub(crate) names: bool,
    /// A broker keeps what is said while nobody listens.
    pub(crate) kept: bool,
    /// Messages bear an identity.
    pub(crate) identities: bool,
    pub(crate) second: Second,
}

impl Source {
    pub(crate) fn kind(self) -> BasisKind {
        match self {
            Self::Polled(_) | Self::Sent(_) => BasisKind::Counter,
            Self::Strokes => BasisKind::Reported,
            Self::Pulses(_) | Self::Edges => BasisKind::Pulses,
            Self::Boards | Self::Finished => BasisKind::Order,
            Self::Hand => BasisKind::Hand,
        }
    }

    /// Where its total wraps, if it has one.
    pub(crate) fn width(self) -> Option<Width> {
        match self {
            Self::Polled(width) | Self::Sent(width) | Self::Pulses(width) => Some(width),
            _ => None,
        }
    }

    pub(crate) fn is_polled(self) -> bool {
        matches!(self, Self::Polled(_) | Self::Pulses(_))
    }

    /// True when another machine of the line tells of the strokes.
    pub(crate) fn is_module(self) -> bool {
        matches!(self, Self::Pulses(_) | Self::Edges | Self::Boards | Self::Finished | Self::Hand)
    }

    pub(crate) fn follows_orders(self) -> bool {
        matches!(self, Self::Boards | Self::Finished)
    }
}

const fn make(source: Source, names: bool) -> Make {
    Make { source, names, kept: false, identities: false, second: Second::None }
}

const fn kept(source: Source, names: bool) -> Make {
    Make { kept: true, identities: true, ..make(source, names) }
}

const fn checked(source: Source, names: bool, second: Second) -> Make {
    Make { second, ..make(source, names) }
}

/// The makes, in turn.
pub(crate) const MAKES: [Make; 22] = {
    use Source::{Boards, Edges, Finished, Hand, Polled, Pulses, Sent, Strokes};
    use Width::{Bits16, Bits32, Bits64};
    [
        make(Polled(Bits16), true),
        make(Polled(Bits32), true),
        make(Polled(Bits16), false),
        make(Polled(Bits64), false),
        checked(Polled(Bits16), true, Second::Pulses),
        checked(Polled(Bits16), false, Second::Order),
        kept(Sent(Bits16), true),
        make(Sent(Bits16), true),
        make(Sent(Bits32), false),
        kept(Sent(Bits32), false),
        kept(Strokes, true),
        kept(Strokes, false),
        make(Strokes, true),
        Make { identities: true, ..checked(Strokes, false, Second::Pulses) },
        make(Pulses(Bits16), true),
        make(Pulses(Bits16), false),
        make(Edges, false),
        kept(Edges, false),
        Make { identities: true, ..checked(Boards, false, Second::Counter) },
        kept(Boards, false),
        make(Finished, true),
        make(Hand, false),
    ]
};
