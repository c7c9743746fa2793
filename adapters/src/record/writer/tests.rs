//! Full disks, files that are as large as they may be, torn, foreign and shared ones.

use std::io::{self, Write};
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;

use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;

use super::*;
use crate::record::{Read, Reader, Size};

#[derive(Default)]
struct Notes(Mutex<Vec<String>>);

impl Observer for Notes {
    fn trouble(&self, _: &MachineName, kind: Trouble, detail: &str) {
        assert_eq!(kind, Trouble::Unrecorded);
        self.0.lock().unwrap().push(detail.to_owned());
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

fn about(machine: &str) -> About {
    About {
        machine: MachineName::new(machine).unwrap(),
        kind: "printer".to_owned(),
        protocol: "mqtt".to_owned(),
        settings: "0".to_owned(),
    }
}

fn writer(to: &Path, at_most: u64) -> (Writer, Tape, Arc<Notes>) {
    let notes = Arc::new(Notes::default());
    let settings = Settings { to: to.to_owned(), at_most: Size(at_most) };
    let (writer, tape) = Writer::new(about("printer-1"), settings, Arc::clone(&notes) as _);
    (writer, tape, notes)
}

fn lost(why: &str) -> Said {
    Said::LinkLost { why: why.to_owned() }
}

/// Records that the link is lost, so many times.
fn record(to: &Path, at_most: u64, times: usize) -> Vec<String> {
    let (writer, tape, notes) = writer(to, at_most);
    let writing = std::thread::spawn(move || writer.run());
    (0..times).for_each(|number| tape.link(&lost(&number.to_string())));
    drop(tape);
    writing.join().unwrap();
    Arc::into_inner(notes).unwrap().0.into_inner().unwrap()
}

fn read(bytes: &[u8]) -> Vec<(usize, Read)> {
    Reader::new(bytes).map(Result::unwrap).collect()
}

/// What each line of a file is.
fn kinds(to: &Path) -> Vec<&'static str> {
    let lines = read(&std::fs::read(to).unwrap()).into_iter();
    let kind = |(_, read)| match read {
        Read::Line(Line::Header(_)) => "header",
        Read::Line(Line::Entry(_)) => "entry",
        Read::Line(Line::Gap { .. }) => "gap",
        Read::Torn => "torn",
        Read::Damaged(_) => "damaged",
    };
    lines.map(kind).collect()
}

const PLENTY: u64 = 1 << 20;

#[test]
fn a_recording_is_continued_after_a_line_that_was_cut_off() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("p.rec");
    assert_eq!(record(&to, PLENTY, 2), Vec::<String>::new());
    let whole = std::fs::read(&to).unwrap();
    std::fs::write(&to, &whole[..whole.len() - 5]).unwrap();
    assert_eq!(kinds(&to), ["header", "entry", "torn"]);
    assert_eq!(record(&to, PLENTY, 1), Vec::<String>::new());
    assert_eq!(kinds(&to), ["header", "entry", "torn", "header", "entry"]);
}

#[test]
fn the_size_is_kept_to_and_the_end_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("p.rec");
    let told = record(&to, 2_000, 1_000);
    assert!(told.len() == 1 && told[0].contains("at-most"), "{told:?}");
    assert!(std::fs::metadata(&to).unwrap().len() <= 2_000);
    let kinds_of = kinds(&to);
    assert_eq!(kinds_of.last(), Some(&"gap"));
    assert!(kinds_of.contains(&"entry") && !kinds_of.contains(&"torn"), "{kinds_of:?}");
    let before = std::fs::read(&to).unwrap();
    assert_eq!(record(&to, 2_000, 3).len(), 1, "it is still as large");
    assert!(std::fs::read(&to).unwrap().starts_with(&before));
    assert!(std::fs::metadata(&to).unwrap().len() <= 2_256);
}

#[test]
fn what_is_no_recording_of_this_machine_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut other = about("printer-2");
    let header = |about: &About, format| {
        let About { machine, kind, protocol, settings } = about.clone();
        let (at, program) = (now(), String::new());
        Line::Header(Header { format, at, machine, kind, protocol, program, settings }).written()
    };
    let of_other = header(&other, 1);
    other.machine = about("printer-1").machine;
    for (content, word) in [
        (b"order,product\n".to_vec(), "no recording"),
        (vec![0xFF; 100], "no recording"),
        (of_other, "machine printer-2"),
        (header(&other, 2), "newer version"),
    ] {
        let to = folder.path().join("theirs");
        std::fs::write(&to, &content).unwrap();
        let told = record(&to, PLENTY, 3);
        assert!(told.len() == 1 && told[0].contains(word), "{word}: {told:?}");
        assert_eq!(std::fs::read(&to).unwrap(), content);
    }
    for (to, word) in [
        (folder.path().join("nowhere/p.rec"), "its folder is there"),
        (folder.path().to_owned(), "no file"),
        ("/dev/null".into(), "no file"),
    ] {
        let told = record(&to, PLENTY, 1);
        assert!(told.len() == 1 && told[0].contains(word), "{told:?}");
    }
}

#[test]
fn two_programs_do_not_write_into_one_file() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("p.rec");
    let held = Pen::open(&to, &about("printer-1").machine, PLENTY).map_err(drop).unwrap();
    let told = record(&to, PLENTY, 1);
    assert!(told.len() == 1 && told[0].contains("another program"), "{told:?}");
    drop(held);
    assert_eq!(record(&to, PLENTY, 1), Vec::<String>::new());
}

#[test]
fn what_does_not_fit_into_memory_is_a_gap_in_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("p.rec");
    let (writer, tape, notes) = writer(&to, 1 << 30);
    (0..MOST_WAITING + 10).for_each(|number| tape.link(&lost(&number.to_string())));
    assert_eq!(notes.0.lock().unwrap().len(), 1, "told once");
    let writing = std::thread::spawn(move || writer.run());
    let shared = Arc::clone(&tape.shared);
    let begun = std::time::Instant::now();
    while shared.waiting.load(Ordering::Relaxed) > 0 {
        assert!(begun.elapsed() < Duration::from_secs(30));
        std::thread::yield_now();
    }
    tape.link(&lost("after"));
    assert!(!tape.takes(1 << 30));
    drop(tape);
    writing.join().unwrap();
    let lines = read(&std::fs::read(&to).unwrap());
    let gaps: Vec<(usize, String)> = lines
        .into_iter()
        .filter_map(|(number, read)| match read {
            Read::Line(Line::Gap { why, .. }) => Some((number, why)),
            _ => None,
        })
        .collect();
    let place = MOST_WAITING + 2;
    assert_eq!(gaps.len(), 2, "{gaps:?}");
    assert!(gaps[0].0 == place && gaps[0].1.starts_with("10 things"), "{gaps:?}");
    assert!(gaps[1].0 == place + 2 && gaps[1].1.starts_with("1 thing missing"), "{gaps:?}");
}

/// A disk that is full after so many bytes, half of a line included.
struct Disk {
    bytes: Arc<Mutex<Vec<u8>>>,
    room: usize,
}

impl Write for Disk {
    fn write(&mut self, some: &[u8]) -> io::Result<usize> {
        let mut bytes = self.bytes.lock().unwrap();
        let taken = some.len().min(self.room - bytes.len());
        if taken == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        bytes.extend_from_slice(&some[..taken]);
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Paper for Disk {
    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.bytes.lock().unwrap().truncate(usize::try_from(length).unwrap());
        Ok(())
    }
}

#[test]
fn a_full_disk_ends_the_recording_after_a_whole_line() {
    for room in 300..500 {
        let (writer, tape, notes) = writer(Path::new("p.rec"), PLENTY);
        let bytes = Arc::default();
        let disk = Disk { bytes: Arc::clone(&bytes), room };
        (0..20).for_each(|number| tape.link(&lost(&number.to_string())));
        writer.write(Pen::on(disk, PLENTY));
        tape.link(&lost("to nobody"));
        let told = notes.0.lock().unwrap().clone();
        assert!(told.len() == 1 && told[0].contains("make room"), "{told:?}");
        let bytes = bytes.lock().unwrap();
        assert!(bytes.ends_with(b"\n"));
        assert!(read(&bytes).iter().all(|(_, read)| matches!(read, Read::Line(_))));
    }
}
