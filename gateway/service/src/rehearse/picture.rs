//! What a rehearsal shows before it begins: each machine, where it is, what it can say.

use stencilward_adapters::settings::Drive;
use stencilward_adapters::simulated::Wired;
use stencilward_config::Configuration;
use stencilward_config::configuration::MachineSettings;

use super::floor::Floor;
use crate::plant::Plant;

pub(super) fn show(plant: &Plant, floor: &Floor) {
    println!("{:<18} {:<28} {:<28} in this rehearsal", "machine", "speaks", "in the file");
    for stand in &plant.stands {
        let name = stand.machine.as_str();
        let trial = if floor.plant.on_trial(&stand.machine) { "   (on trial)" } else { "" };
        println!("{name:<18} {:<28} {:<28} {}{trial}", stand.speaks, stand.real, stand.here);
        let Some(actor) = floor.actors.get(&stand.machine) else { continue };
        tell("says", &briefly(&actor.wired));
        tell("says of others", &briefly(&actor.for_others));
        tell("outputs", &outputs(&plant.configuration, name));
    }
}

fn tell(what: &str, list: &[String]) {
    if !list.is_empty() {
        println!("{:<18}   {what}: {}", "", list.join(", "));
    }
}

/// Each thing once; of many of one kind the first and the last.
fn briefly(wired: &Wired) -> Vec<String> {
    let mut brief: Vec<String> = Vec::new();
    let mut titles = wired.says.iter().peekable();
    while let Some(title) = titles.next() {
        let word = |title: &str| title.split(' ').next().map(str::to_owned);
        let (mut last, mut more) = (title, 0);
        while let Some(next) = titles.next_if(|next| word(next) == word(title)) {
            (last, more) = (next, more + 1);
        }
        let told = match more {
            0 => title.clone(),
            _ if last == title => title.clone(),
            1 => format!("{title}, {last}"),
            _ => format!("{title} to {last}"),
        };
        if !brief.contains(&told) {
            brief.push(told);
        }
    }
    brief
}

fn outputs(configuration: &Configuration, machine: &str) -> Vec<String> {
    let found = configuration.machines.iter().find(|settings| settings.name == machine);
    let all = found.into_iter().flat_map(MachineSettings::outputs);
    all.map(|(name, drive)| format!("{name} ({})", follows(drive))).collect()
}

fn follows(drive: Drive) -> &'static str {
    match drive {
        Drive::PrintPermit => "print-permit",
        Drive::DoorRelease => "door-release",
        Drive::Heartbeat => "heartbeat",
    }
}
