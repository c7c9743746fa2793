//! Notes on questions that may stay without an answer, or get another one.

use super::note;
use crate::check::Found;
use crate::configuration::MachineSettings;

/// What may become of the questions that this machine asks over MQTT.
pub(super) fn note_questions(path: &str, machine: &MachineSettings, found: &mut Found) {
    let messages = machine.mqtt.iter().flat_map(|mqtt| &mqtt.messages).enumerate();
    for (index, message) in messages.filter(|(_, message)| message.answer.is_some()) {
        let path = |key| format!("{path}.mqtt.messages[{index}].{key}");
        if message.qos == 0 {
            note(
                found,
                path("qos"),
                "with 0 a question that is on its way while the gateway is away is lost, and its \
                 answer with it; set qos: 1, and let the machine ask with it",
            );
        } else if message.identity.is_none() {
            note(
                found,
                path("identity"),
                "not set: a question that comes again after a broken connection is decided anew \
                 instead of answered as before; point to the question's own number",
            );
        }
    }
}
