//! Streams as text: `stencil/CODE`, `machine/NAME`, `order/NAME`, `site`.

use stencilward_domain::event::Stream;
use stencilward_domain::names::{MachineName, OrderName, StencilCode};

/// The stream of this text; none when no stream is written like that.
pub(crate) fn parse(text: &str) -> Option<Stream> {
    let stream = match text.split_once('/') {
        None => Stream::Site,
        Some(("stencil", code)) => Stream::Stencil(StencilCode::new(code).ok()?),
        Some(("machine", name)) => Stream::Machine(MachineName::new(name).ok()?),
        Some(("order", name)) => Stream::Order(OrderName::new(name).ok()?),
        Some(_) => return None,
    };
    (stream.to_string() == text).then_some(stream)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_reads_back() {
        let code = StencilCode::new("ST/4 ü").unwrap();
        let streams = [
            Stream::Stencil(code),
            Stream::Machine(MachineName::new("stencil/1").unwrap()),
            Stream::Order(OrderName::new("WO-1").unwrap()),
            Stream::Site,
        ];
        for stream in streams {
            assert_eq!(parse(&stream.to_string()), Some(stream));
        }
    }

    #[test]
    fn rubbish_is_no_stream() {
        for text in ["", "sites", "site/", "stencil/", "stencil/ a", "plant/1"] {
            assert_eq!(parse(text), None, "{text:?}");
        }
    }
}
