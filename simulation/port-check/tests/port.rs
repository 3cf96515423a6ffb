//! The example port in C, compiled for this machine, before the judge: a right one passes every case, and each planted mistake is
//! found, by the case that is there for it, and told clearly.

mod support;

use packstaff_port_check::cases::{Options, Outcome, Tried, judge};
use packstaff_port_check::link::{Link, Way};
use std::path::PathBuf;
use std::time::Duration;
use tempfile::TempDir;

/// How to run the port with this mistake.
fn way(folder: &TempDir, program: PathBuf) -> Way {
    Way::Program(vec!["env".into(), "-C".into(), folder.path().into(), program.into()])
}

fn judged(way: Way, options: &Options) -> Vec<Tried> {
    let link = Link::new(way, Duration::from_secs(20));
    let judged = judge(link, options, &mut |_| {}).unwrap();
    assert!(judged.counts.lines > 0);
    judged.tried
}

#[test]
fn a_right_port_passes_every_case() {
    let (folder, program) = support::port(0, 0x5a);
    let stick = folder.path().join("stick.img");
    let image: Vec<u8> = (0..4_000_000_u32).map(|at| (at / 3 + at / 512) as u8).collect();
    std::fs::write(&stick, &image[..image.len() / 512 * 512]).unwrap();
    let options = Options {
        stick: Some(stick),
        ..Options::default()
    };
    let tried = judged(way(&folder, program), &options);
    for case in &tried {
        assert!(matches!(case.outcome, Outcome::Holds(_)), "{case:?}");
    }
    assert_eq!(tried.len(), 17);
}

/// Each mistake, the case that finds it, and what the judge says.
#[test]
fn each_planted_mistake_is_found_and_told() {
    let mistakes = [
        (
            1,
            "one-sector",
            "erased; others changed instead: the sector at 0x10000 (65536 bytes)",
        ),
        (2, "program", "are not there: 4 of them differ, the first at 0x"),
        (3, "blank", "Every byte of the range has to be looked at, to its end"),
        (4, "erase", "was reported done, but it does not read as erased"),
        (5, "read", "see whether a cache gives old contents"),
        (6, "erase", "was reported done, but it does not read as erased"),
        (7, "new", "the owner must be able to read \"U1\" there"),
    ];
    for (mistake, id, says) in mistakes {
        // A driver that erases the wrong sector shows itself on an erased part, too; one that does not erase, on a written one.
        let (folder, program) = support::port(mistake, if mistake == 1 { 0xff } else { 0x5a });
        let tried = judged(way(&folder, program), &Options::default());
        let first = tried
            .iter()
            .find_map(|case| match &case.outcome {
                Outcome::Broken(finding) => Some((case.id, finding.to_string())),
                _ => None,
            })
            .unwrap_or_else(|| panic!("mistake {mistake} was not found"));
        println!("{mistake}: {}: {}", first.0, first.1);
        assert_eq!(first.0, id, "mistake {mistake}: {}", first.1);
        assert!(first.1.contains(says), "mistake {mistake}: {}", first.1);
    }
}

/// A program that is no port at all, and one that leaves at once.
#[test]
fn what_is_no_port_is_told() {
    for (words, says) in [
        (vec!["cat"], "the answer to \"hello\" is \"hello\""),
        (vec!["true"], "the port is gone"),
        (vec!["a-program-that-nobody-has"], "cannot be run"),
    ] {
        let way = Way::Program(words.into_iter().map(Into::into).collect());
        let link = Link::new(way, Duration::from_millis(300));
        let finding = judge(link, &Options::default(), &mut |_| {}).unwrap_err().to_string();
        assert!(
            finding.contains(says) || finding.contains("cannot be sent"),
            "{finding}"
        );
    }
}
