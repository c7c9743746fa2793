//! Which services may run in containers here: those whose image is already on a Docker engine
//! that answers. Nothing is ever pulled.

use std::time::Duration;

use testcontainers::core::client::docker_client_instance;

/// How long a Docker engine may take to say whether it has an image.
const LIMIT: Duration = Duration::from_secs(5);

/// The image for a service, split into name and tag, if the engine has it.
///
/// The variable `STENCILWARD_IMAGE_<SERVICE>` names another image than `usual`.
pub async fn image(service: &str, usual: &str) -> Option<(String, String)> {
    let variable = format!("STENCILWARD_IMAGE_{service}");
    let wanted = std::env::var(variable).unwrap_or_else(|_| usual.to_owned());
    let docker = docker_client_instance().await.ok()?;
    tokio::time::timeout(LIMIT, docker.inspect_image(&wanted)).await.ok()?.ok()?;
    Some(split(&wanted))
}

/// A colon before the last slash belongs to a registry's port.
fn split(image: &str) -> (String, String) {
    let (name, tag) = match image.rsplit_once(':') {
        Some((name, tag)) if !tag.contains('/') => (name, tag),
        _ => (image, "latest"),
    };
    (name.to_owned(), tag.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_and_its_tag() {
        assert_eq!(split("mosquitto:2"), ("mosquitto".into(), "2".into()));
    }

    #[test]
    fn without_a_tag_the_latest() {
        assert_eq!(split("host:5000/a"), ("host:5000/a".into(), "latest".into()));
    }
}
