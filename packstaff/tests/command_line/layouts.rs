//! Products whose boards have two places for an image: board C a stage in a memory of its own, board D a second slot.

use crate::support::{FAILED, Folder, HOLDS, verdicts};
use crate::trace::{cut_on, trace, works};
use serde_json::Value;

const STAGE: &str = "stage = { start = 0x90001000, size = 0x70000 }
stage_memory = { part = \"w25q16jv-2m\", base = 0x90000000 }";

/// The demo, if its boards were built so.
fn demo_with_two_places() -> Folder {
    let folder = Folder::demo();
    let slot = "slot = { start = 0x08010000, size = 0x70000 }";
    folder.edit("product.toml", slot, &format!("{slot}\n{STAGE}"));
    let slot = "slot = { start = 0x0800A000, size = 0x36000 }";
    let second = "second_slot = { start = 0x08040000, size = 0x36000 }";
    folder.edit("product.toml", slot, &format!("{slot}\n{second}"));
    folder
}

/// Everything that a release does, under every fault and with cuts without end; owners may go from version to version as often as
/// they like, so that it is finite only because worlds that differ in how often they did are one.
#[test]
fn a_release_needs_no_stick_after_a_cut() {
    let folder = demo_with_two_places();
    folder.release("2.1", &[]).ended(HOLDS);
    let report: Value = serde_json::from_str(&folder.text("out/2.1/report.json")).unwrap();
    for id in ["worlds", "claim-stands-alone", "claim-arrives", "from-2.0"] {
        assert_eq!(verdicts(&report, "Rehearsal", id), ["pass", "pass"], "{id}");
    }
    let conclusion = report["conclusion"].as_str().unwrap();
    assert!(
        conclusion.contains("12 claims hold on 2 board revisions"),
        "{conclusion}"
    );
    let sheet = folder.text("out/2.1/sheet.html");
    assert!(sheet.contains("it starts by itself, with the version it had or with the new one"));
    assert!(!sheet.contains("it is waiting for exactly this"));
}

/// What its owner sends are two read-outs: of the microcontroller, and of the memory beside it.
#[test]
fn a_stage_in_a_memory_of_its_own_is_traced() {
    let folder = demo_with_two_places();
    // Beyond the erase of the stage, and before all of 2.0 is in it.
    let flash = cut_on(&folder, "C", 140);
    folder.write("flash.bin", flash.bytes(0x0800_0000, 512 << 10).unwrap());
    folder.write("stage.bin", flash.bytes(0x9000_0000, 2 << 20).unwrap());
    let sent = [
        "--flash",
        "flash.bin",
        "--flash",
        "stage.bin@0x90000000",
        "--board",
        "C",
    ];
    let account = trace(&folder, &[&sent[..], &["--json"]].concat()).ended(HOLDS).json();
    let course = &account["flash"]["courses"][0];
    assert_eq!(works(&account)[0], ("writing", "2.0"), "{course}");
    assert_eq!(course["place"], "stage", "{course}");
    assert_eq!(account["flash"]["size"], (512 << 10) + (2 << 20));
}

#[test]
fn parts_of_other_memory_maps_are_not_joined() {
    let ask = |folder: &Folder, part: &str| {
        let few = [
            "rehearse", ".", "--faults", "cuts", "--board", "D", "--to", "2.0", "--json", "--part", part,
        ];
        folder.open(&few).ended(HOLDS).stdout
    };
    let (one, other) = (Folder::demo(), demo_with_two_places());
    one.write("1.json", ask(&one, "1/2"));
    one.write("2.json", ask(&other, "2/2"));
    one.run(&["rehearse", "--merge", "1.json", "--merge", "2.json"])
        .ended(FAILED)
        .complains("2.json");
}

/// What is not claimed of a board is not counted for it.
#[test]
fn a_board_with_one_place_is_not_said_to_need_no_stick() {
    let folder = demo_with_two_places();
    folder.edit("product.toml", STAGE, "");
    let few = ["rehearse", ".", "--faults", "cuts", "--to", "2.0", "--json"];
    let report = folder.open(&few).ended(HOLDS).json();
    assert_eq!(verdicts(&report, "Rehearsal", "claim-stands-alone"), ["pass"]);
    let conclusion = report["conclusion"].as_str().unwrap();
    let counted = "11 claims hold on 2 board revisions, and one more on board D, in each";
    assert!(conclusion.contains(counted), "{conclusion}");
}

#[test]
fn an_image_must_fit_the_stage_too() {
    let folder = demo_with_two_places();
    folder.edit("product.toml", STAGE, &STAGE.replace("0x70000", "0x4000"));
    let run = folder.release("2.1", &[]);
    assert_ne!(run.code, HOLDS);
    let told = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "at most 16,384 bytes",
        "the stage is the smaller",
        "more than the stage holds",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
}
