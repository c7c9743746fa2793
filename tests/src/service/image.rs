//! Which image a service has here: the one that a setting names or else the public one, or our own
//! of `tests/images`. Only when none is present the first is pulled.

use std::collections::BTreeMap;
use std::time::Duration;

use futures::StreamExt as _;
use testcontainers::bollard::Docker;
use testcontainers::bollard::query_parameters::CreateImageOptionsBuilder;
use testcontainers::core::client::docker_client_instance;
use tokio::sync::Mutex;
use tokio::time::timeout;

/// How long an engine may take to answer, also where much else runs.
const ANSWER: Duration = Duration::from_secs(15);

/// How long a registry may be silent, so that a machine without a network loses no more.
const SILENCE: Duration = Duration::from_secs(10);

/// How long an image may take to come.
const PULL: Duration = Duration::from_secs(180);

/// An image that is present.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Image {
    pub(super) name: String,
    pub(super) tag: String,
}

/// What was found for each service. Found out once: each test would otherwise wait for a registry
/// that does not answer.
static FOUND: Mutex<BTreeMap<&str, Result<Image, String>>> = Mutex::const_new(BTreeMap::new());

/// The image of a service, or why there is none.
pub(super) async fn image(service: &'static str, public: &str) -> Result<Image, String> {
    let mut found = FOUND.lock().await;
    if let Some(known) = found.get(service) {
        return known.clone();
    }
    let image = look(service, public).await.map(|name| split(&name));
    found.insert(service, image.clone());
    image
}

/// True when a setting names the image of this service.
pub(super) fn is_named(service: &str) -> bool {
    named(service).is_some()
}

/// True when a Docker engine of this machine answers.
pub async fn engine_answers() -> bool {
    engine().await.is_ok()
}

fn named(service: &str) -> Option<String> {
    let variable = format!("STENCILWARD_IMAGE_{}", service.to_uppercase());
    std::env::var(variable).ok().filter(|name| !name.is_empty())
}

async fn look(service: &str, public: &str) -> Result<String, String> {
    let docker = engine().await?;
    let candidates = match named(service) {
        Some(name) => vec![name],
        None => vec![public.to_owned(), format!("stencilward-tests/{service}:local")],
    };
    for name in &candidates {
        if timeout(ANSWER, docker.inspect_image(name)).await.is_ok_and(|image| image.is_ok()) {
            return Ok(name.clone());
        }
    }
    let wanted = &candidates[0];
    match timeout(PULL, pull(&docker, wanted)).await {
        Ok(Ok(())) => Ok(wanted.clone()),
        Ok(Err(why)) => Err(format!(
            "{wanted} is not here and cannot be pulled ({why}); without a setting for it an image \
             of tests/images/build.sh would do"
        )),
        Err(_) => Err(format!("{wanted} did not come within {PULL:?}; pull it beforehand")),
    }
}

async fn engine() -> Result<Docker, String> {
    let elsewhere = |host: &String| !host.is_empty() && !host.starts_with("unix:");
    if let Some(host) = std::env::var("DOCKER_HOST").ok().filter(elsewhere) {
        return Err(format!("the Docker engine at {host} does not open ports of this machine"));
    }
    let docker = docker_client_instance().await.map_err(|why| why.to_string())?;
    match timeout(ANSWER, docker.ping()).await {
        Ok(Ok(_)) => Ok(docker),
        Ok(Err(why)) => Err(format!("no Docker engine answers: {why}")),
        Err(_) => Err(format!("the Docker engine did not answer within {ANSWER:?}")),
    }
}

async fn pull(docker: &Docker, name: &str) -> Result<(), String> {
    let options = CreateImageOptionsBuilder::new().from_image(name).build();
    let mut news = std::pin::pin!(docker.create_image(Some(options), None, None));
    loop {
        match timeout(SILENCE, news.next()).await {
            Ok(Some(Ok(_))) => {}
            Ok(Some(Err(why))) => return Err(why.to_string()),
            Ok(None) => return Ok(()),
            Err(_) => return Err(format!("nothing came for {SILENCE:?}")),
        }
    }
}

/// A colon before the last slash belongs to a registry's port.
fn split(image: &str) -> Image {
    let (name, tag) = match image.rsplit_once(':') {
        Some((name, tag)) if !tag.contains('/') => (name, tag),
        _ => (image, "latest"),
    };
    Image { name: name.to_owned(), tag: tag.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(image: &str) -> (String, String) {
        let Image { name, tag } = split(image);
        (name, tag)
    }

    #[test]
    fn a_name_and_its_tag() {
        assert_eq!(parts("mosquitto:2"), ("mosquitto".into(), "2".into()));
    }

    #[test]
    fn without_a_tag_the_latest() {
        assert_eq!(parts("host:5000/a"), ("host:5000/a".into(), "latest".into()));
    }
}
