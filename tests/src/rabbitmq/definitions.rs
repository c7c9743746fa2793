//! What is in a broker from the beginning.

use serde_json::json;

use super::{QUEUE, TOLD, USER};

/// The user's password, hashed as RabbitMQ does (salted SHA-256).
const HASH: &str = "AQIDBNKAvQkM3Tf1ikHfyeLAotVnZIE/snxmmMb9uRqRkwSA";

/// A file of definitions: the user, the exchange, and both queues with what is given to them.
pub(super) fn definitions() -> String {
    let queue = |name: &str| {
        json!({ "name": name, "vhost": "/", "durable": true, "auto_delete": false,
            "arguments": {} })
    };
    let binding = |name: &str, key: &str| {
        json!({ "source": "cfx", "vhost": "/", "destination": name,
            "destination_type": "queue", "routing_key": key, "arguments": {} })
    };
    let definitions = json!({
        "users": [{ "name": USER.0, "tags": "administrator", "password_hash": HASH,
            "hashing_algorithm": "rabbit_password_hashing_sha256" }],
        "vhosts": [{ "name": "/" }],
        "permissions": [{ "user": USER.0, "vhost": "/", "configure": ".*", "write": ".*",
            "read": ".*" }],
        "topic_permissions": [], "parameters": [], "global_parameters": [], "policies": [],
        "queues": [queue(QUEUE), queue(TOLD)],
        "exchanges": [{ "name": "cfx", "vhost": "/", "type": "topic", "durable": true,
            "auto_delete": false, "internal": false, "arguments": {} }],
        "bindings": [binding(QUEUE, "#"), binding(TOLD, "told")],
    });
    definitions.to_string()
}
