//! Tolerance, orders, money, delivery times, starting counts, and folders of orders.

use stencilward_config::{Costs, load, parse};
use stencilward_domain::names::StencilCode;
use stencilward_domain::plant::{Policy, Tolerance};
use stencilward_domain::wear::Share;

use crate::faulty;

const PLANT: &str = "\
site: Invented Works
policy:
  counting: { tolerance: { strokes: 12, share: 1.5 } }
  orders: { must-be-known: true }
  cost: { currency: EUR, wash: 1.50 }
  lead-time: 10d
stencils:
  - { code: ST-1, rated-strokes: 50000, price: 240.00, lead-time: 14d, strokes-so-far: 31000, source: count by hand of 2 May }
  - { code: ST-2, rated-strokes: 50000 }
";

#[test]
fn what_is_set_is_used() {
    let configuration = parse("plant.yaml", PLANT).unwrap();
    let plant = configuration.plant();
    assert_eq!(plant.policy.tolerance, Tolerance { strokes: 12, share: Share(150) });
    assert!(plant.policy.orders_known);
    let expected =
        Costs { currency: Some("EUR".to_owned()), wash_centi: Some(150), lead_days: Some(10) };
    assert_eq!(configuration.costs(), expected);
    let listed = |code: &str| plant.stencils[&StencilCode::new(code).unwrap()].clone();
    let (first, second) = (listed("ST-1"), listed("ST-2"));
    assert_eq!((first.spec.price_centi, first.spec.lead_days), (Some(24_000), Some(14)));
    assert_eq!((first.starting_strokes, first.source.as_str()), (31_000, "count by hand of 2 May"));
    assert_eq!((second.spec.price_centi, second.spec.lead_days), (None, Some(10)));
    assert_eq!(second.source, "configuration");
}

#[test]
fn what_is_not_set_is_the_rules_own() {
    let configuration = parse("plant.yaml", "site: Invented Works\n").unwrap();
    assert_eq!(configuration.plant().policy, Policy::default());
    assert_eq!(configuration.costs(), Costs::default());
}

#[test]
fn what_makes_no_sense_is_told() {
    let text = PLANT
        .replace("wash: 1.50", "wash: 1.505")
        .replace("lead-time: 10d", "lead-time: 36h")
        .replace("price: 240.00", "price: 0.001")
        .replace("lead-time: 14d", "lead-time: 0s");
    let paths: Vec<String> = faulty(&text).into_iter().map(|(path, _)| path).collect();
    let expected =
        ["policy.cost.wash", "policy.lead-time", "stencils[0].price", "stencils[0].lead-time"];
    for path in expected {
        assert!(paths.iter().any(|told| told == path), "{path} is not among {paths:?}");
    }
    assert_eq!(paths.len(), 4, "{paths:?}");
    for (good, bad, path) in [
        ("wash: 1.50", "wash: -1", "policy.cost.wash"),
        ("share: 1.5", "share: 101", "policy.counting.tolerance.share"),
        ("currency: EUR", "currency: \"\"", "policy.cost.currency"),
        ("source: count", "source: \"\" #", "stencils[0].source"),
    ] {
        let text = PLANT.replace(good, bad).replace("# by hand of 2 May }", "}");
        assert_eq!(faulty(&text)[0].0, path);
    }
}

#[test]
fn a_folder_of_orders_starts_where_the_file_lies() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    let text = "\
site: Invented Works
machines:
  - { name: plan, kind: other, files: { folder: orders } }
  - { name: plan-2, kind: other, files: { folder: /srv/orders } }
";
    std::fs::write(&file, text).unwrap();
    let configuration = load(&file).unwrap();
    let folders: Vec<_> = configuration
        .machines
        .iter()
        .filter_map(|machine| Some(machine.files.as_ref()?.folder.clone()))
        .collect();
    assert_eq!(folders, [folder.path().join("orders"), "/srv/orders".into()]);
    assert_eq!(configuration.wires().len(), 2);
}
