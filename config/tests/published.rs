//! What is published beside the code is what the code does: the schema, the examples, and the
//! files shown in the README.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use stencilward_config::Configuration;

fn here(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(file)
}

fn text(file: &str) -> String {
    std::fs::read_to_string(here(file)).unwrap_or_else(|error| panic!("{file}: {error}"))
}

/// Set `STENCILWARD_WRITE=1` to write the schema anew after a change of the settings.
#[test]
fn the_published_schema_is_the_one_that_is_enforced() {
    for (file, schema) in [
        ("schema.json", stencilward_config::schema()),
        ("profile-schema.json", stencilward_config::profile_schema()),
    ] {
        let schema = schema + "\n";
        if std::env::var_os("STENCILWARD_WRITE").is_some() {
            std::fs::write(here(file), &schema).unwrap();
        }
        assert_eq!(text(file), schema, "run with STENCILWARD_WRITE=1 and look at the change");
    }
    let unchecked = stencilward_config::read::unchecked::<Configuration>();
    assert!(unchecked.is_empty(), "the schema demands what nobody checks: {unchecked:?}");
}

/// The reader's result is compared with an independent one: `serde_yaml` (the YAML
/// organisation's `yaml_serde`), which shares no code with it.
fn reads_alike(name: &str, text: &str) {
    let ours = stencilward_config::parse(name, text)
        .unwrap_or_else(|faults| panic!("{name} has faults: {faults:#?}"));
    let theirs: Configuration =
        serde_yaml::from_str(text).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert_eq!(ours, theirs, "{name}");
    let written = serde_yaml::to_string(&ours).unwrap();
    assert_eq!(stencilward_config::parse("written", &written), Ok(ours), "{name}, written anew");
}

#[test]
fn the_examples_are_good() {
    let mut seen = 0;
    for entry in std::fs::read_dir(here("examples")).unwrap() {
        let path = entry.unwrap().path();
        reads_alike(&path.display().to_string(), &std::fs::read_to_string(&path).unwrap());
        seen += 1;
    }
    assert!(seen > 0, "there are examples");
}

/// Editors judge by the published schema, with a general validator.
#[test]
fn the_published_schema_takes_machines_by_profile() {
    let schema = serde_json::from_str(&stencilward_config::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let plant = |machine| serde_json::json!({ "site": "Invented Works", "machines": [machine] });
    let by_profile = serde_json::json!({
        "name": "r", "profile": "rack-slots", "with": { "slots": 2 }, "modbus": { "points+": [] },
    });
    assert!(validator.is_valid(&plant(by_profile)));
    let bare = serde_json::json!({ "name": "r" });
    assert!(!validator.is_valid(&plant(bare)), "a machine without a profile has a kind");
}

#[test]
fn the_files_in_the_readme_are_good() {
    let readme = text("README.md");
    let shown: Vec<&str> =
        readme.split("```yaml\n").skip(1).filter_map(|rest| rest.split("```").next()).collect();
    assert!(!shown.is_empty(), "the README shows a file");
    for file in shown {
        if file.contains("profile: ") {
            // The independent reader knows no profiles.
            let plant = stencilward_config::parse("README.md", file);
            assert!(plant.is_ok(), "{:#?}", plant.unwrap_err());
        } else {
            reads_alike("README.md", file);
        }
    }
}

/// A plant with several mistakes at once, as `check` tells them.
#[test]
fn all_mistakes_are_told_at_once() {
    let text = "\
site: Invented Works
listen: 0.0.0.0:9464
polcy: {}
stencils:
  - { code: ST-1, rated-strokes: 0 }
  - { code: ST-2, rated-strokes: 10 }
  - { code: ST-2, rated-strokes: 10 }
";
    let faults = stencilward_config::parse("plant.yaml", text).unwrap_err();
    let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|line| line.starts_with("plant.yaml:3: polcy: ")), "{told:#?}");
    assert!(told.iter().any(|line| line.starts_with("plant.yaml:5: stencils[0].rated-strokes: ")));

    let more = "machines:\n  - { name: p, kind: washer, mqtt: { broker: floor } }\n";
    let faults = stencilward_config::parse("plant.yaml", &format!("{text}{more}")).unwrap_err();
    let paths: Vec<&str> = faults.iter().map(|fault| fault.path.as_str()).collect();
    assert!(paths.contains(&"polcy") && paths.contains(&"machines[0].mqtt.broker"), "{paths:#?}");

    let text = text.replace("polcy: {}\n", "").replace("rated-strokes: 0", "rated-strokes: 1");
    let machines = "\
machines:
  - name: p
    kind: printer
    modbus:
      address: nowhere
      points:
        - { signal: stroke-total, table: input, at: 0, type: u32 }
      outputs:
        - { name: door, drive: door-release, table: coil, at: 1 }
  - { name: p, kind: washer, mqtt: { broker: floor } }
";
    let faults = stencilward_config::parse("plant.yaml", &(text + machines)).unwrap_err();
    let paths: Vec<&str> = faults.iter().map(|fault| fault.path.as_str()).collect();
    for path in [
        "listen",
        "stencils[2].code",
        "machines[0].fastest-cycle",
        "machines[0].modbus.address",
        "machines[0].modbus.points[0].words",
        "machines[0].modbus.outputs[0].drive",
        "machines[1].name",
        "machines[1].mqtt.broker",
    ] {
        assert!(paths.contains(&path), "{path} is not among {paths:#?}");
    }
    assert!(faults.iter().all(|fault| fault.line.is_some()), "{faults:#?}");
}
