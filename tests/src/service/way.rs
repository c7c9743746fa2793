//! Which way services are to be had.

/// How a service is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// In a container: `STENCILWARD_SERVICES=container`.
    Container,
    /// As the installed program: `STENCILWARD_SERVICES=process`.
    Process,
}

/// The way that is forced; none where a container is preferred and a process will do.
///
/// # Panics
/// When the setting is neither.
pub(super) fn wanted() -> Option<Way> {
    let setting = std::env::var("STENCILWARD_SERVICES").ok()?;
    match read(&setting) {
        Ok(way) => way,
        Err(why) => panic!("STENCILWARD_SERVICES: {why}"),
    }
}

fn read(setting: &str) -> Result<Option<Way>, String> {
    match setting {
        "" => Ok(None),
        "container" => Ok(Some(Way::Container)),
        "process" => Ok(Some(Way::Process)),
        other => Err(format!("{other:?} is neither `container` nor `process`")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_for_each_way() {
        assert_eq!(read("container"), Ok(Some(Way::Container)));
        assert_eq!(read("process"), Ok(Some(Way::Process)));
        assert_eq!(read(""), Ok(None));
        assert!(read("docker").is_err_and(|why| why.contains("`process`")));
    }
}
