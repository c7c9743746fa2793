//! The old ledgers, and what was noted of them when their programs had written them.

use std::path::PathBuf;

use serde_json::Value;
use stencilward_tests::root;

pub(crate) struct Old {
    name: &'static str,
    /// What the script for auditors said of it then.
    pub(crate) walked: &'static str,
}

pub(crate) const FIRST: Old = Old {
    name: "first",
    walked: "whole up to 363, hash f488177f7cabf5418a2c8c4fb323243ace90972268564889936e17dfa27b64bb",
};

pub(crate) const LAST: Old = Old {
    name: "last",
    walked: "whole up to 354, hash ca7dbfb44233e77e439b0c5f2013bbd5517c495631830dc3c8962ca5a065a6b9",
};

impl Old {
    pub(crate) fn ledger(&self) -> PathBuf {
        folder().join(self.name).with_extension("ledger")
    }

    /// The stencils as the old program itself showed them.
    pub(crate) fn stencils(&self) -> Vec<Value> {
        let file = folder().join(self.name).with_extension("stencils.json");
        let text = std::fs::read_to_string(file).unwrap();
        let told: Value = serde_json::from_str(&text).unwrap();
        told["stencils"].as_array().unwrap().clone()
    }
}

pub(crate) fn folder() -> PathBuf {
    root().join("tests/tests/upgrade/ledgers")
}
