//! Sparkplug payloads of any bytes. `cargo +nightly fuzz run sparkplug_payloads` in `tests/fuzz`'s
//! parent, with `--fuzz-dir fuzz`.
#![no_main]

use libfuzzer_sys::fuzz_target;
use stencilward_adapters::sparkplug::Payload;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(payload) = Payload::read(bytes) {
        let again = Payload::read(&payload.bytes()).expect("what we write, we read");
        assert_eq!(again.metrics.len(), payload.metrics.len());
    }
});
