//! CFX endpoints, and the machines that they hear.

use std::collections::HashMap;

use stencilward_adapters::cfx;

use super::{Found, below, once};
use crate::configuration::Configuration;
use crate::read::wording::{did_you_mean, near};

impl Configuration {
    pub(super) fn check_cfx(&self, found: &mut Found) {
        let (mut names, mut places) = (HashMap::new(), HashMap::new());
        for (index, endpoint) in self.cfx.iter().enumerate() {
            let path = format!("cfx[{index}]");
            once(&format!("{path}.name"), &endpoint.name, &mut names, found);
            if let Some(listen) = &endpoint.listen {
                once(&format!("{path}.listen.address"), &listen.address, &mut places, found);
            }
            found.extend(below(&path, endpoint.check()));
        }
        self.check_handles(found);
    }

    /// A handle is one machine's at an endpoint, and the gateway has its own.
    fn check_handles(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, machine) in self.machines.iter().enumerate() {
            let Some(settings) = &machine.cfx else { continue };
            let path = format!("machines[{index}].cfx");
            let endpoint = self.cfx.iter().find(|known| known.name == settings.endpoint);
            let Some(endpoint) = endpoint else {
                found.push((format!("{path}.endpoint"), self.no_endpoint(&settings.endpoint)));
                continue;
            };
            if settings.handle == endpoint.handle {
                let wrong = "is the gateway's own at this endpoint; write the machine's";
                found.push((format!("{path}.handle"), wrong.to_owned()));
            }
            let key = (&settings.endpoint, &settings.handle);
            if let Some(first) = seen.insert(key, &machine.name) {
                let wrong = format!("is {first} already; one handle is one machine");
                found.push((format!("{path}.handle"), wrong));
            }
            check_asks(&path, settings, endpoint, found);
            let listens = |at: &str| self.cfx.iter().any(|known| known.listens_at(at));
            if settings.requests.as_ref().is_some_and(|requests| listens(&requests.address)) {
                let wrong = "is the gateway's own listener; write where the machine listens";
                found.push((format!("{path}.requests.address"), wrong.to_owned()));
            }
        }
    }

    fn no_endpoint(&self, name: &str) -> String {
        let names = || self.cfx.iter().map(|known| known.name.as_str());
        let known: Vec<&str> = names().collect();
        let known = if known.is_empty() { "none yet".to_owned() } else { known.join(", ") };
        format!(
            "no CFX endpoint is named {name:?}{}; write one of those under cfx at the top: {known}",
            did_you_mean(near(name, names()))
        )
    }
}

/// Questions come to the listener only.
fn check_asks(path: &str, settings: &cfx::Settings, endpoint: &cfx::Endpoint, found: &mut Found) {
    if endpoint.listen.is_some() {
        return;
    }
    let asks = settings.outputs.iter().any(|output| output.by == cfx::By::UnitValidation);
    let keys = [("tool-check", settings.tool_check.is_some()), ("outputs", asks)];
    for (key, there) in keys {
        if there {
            let wrong = format!(
                "the machine asks at the gateway's own listener, and the endpoint {} has none; \
                 give it a listen",
                endpoint.name
            );
            found.push((format!("{path}.{key}"), wrong));
        }
    }
}
