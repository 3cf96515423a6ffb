//! The verb `settings`, and settings in a release.

use crate::support::{FAILED, Folder, HOLDS, REFUSED, verdicts};

#[test]
fn every_pair_of_the_demo_is_judged() {
    let folder = Folder::demo();
    let shown = folder.run(&["settings", "check", "."]).ended(HOLDS).stdout;
    assert!(shown.contains("8 kept, 8 converted, 1 new"), "{shown}");
    assert!(
        shown.contains("No calibration and no counter is lost without a reason."),
        "{shown}"
    );
    let json = folder.run(&["settings", "check", ".", "--json"]).ended(HOLDS).json();
    assert_eq!(json["pairs"].as_array().unwrap().len(), 6);
    let diff = folder
        .run(&["settings", "diff", ".", "--from", "1.8", "--to", "2.0"])
        .ended(HOLDS)
        .stdout;
    let line = diff
        .lines()
        .find(|line| line.contains("tc.ofs -> calibration.offset_cdegc"))
        .unwrap();
    assert!(line.contains("°F become °C") && line.contains("calibration"), "{line}");
}

/// A release that would lose the calibration: the planted layout forgets where it went.
#[test]
fn a_release_that_would_lose_the_calibration_is_refused() {
    let folder = Folder::demo();
    folder.edit(
        "settings/2.1.toml",
        "pair = [{ old = \"calibration\", new = \"calibration.channel\" }]\n",
        "",
    );
    let report = folder.release("2.1", &["--json"]).ended(REFUSED).json();
    assert_eq!(report["verdict"], "fail");
    assert_eq!(verdicts(&report, "Settings", "from-2.0"), ["fail", "fail"]);
    assert_eq!(verdicts(&report, "Settings", "from-1.8"), ["fail", "fail"]);
    assert_eq!(verdicts(&report, "Settings", "as-built"), ["pass", "pass"]);
    let text = report.to_string();
    assert!(
        text.contains("the calibration calibration.gain_ppm would be lost, and no reason is given"),
        "{text}"
    );
    assert!(!folder.path("ledger/2.1").exists() && !folder.path("out").exists());
    // With a reason it would go out: the maker has the last word.
    folder.edit(
        "settings/2.1.toml",
        "left = \"Version 2.0 cannot",
        "loss = [{ field = \"calibration\", way = \"up\", because = \"Boards come back for a new sensor and are calibrated then.\" }]\nleft = \"Version 2.0 cannot",
    );
    folder.run(&["settings", "check", "."]).ended(HOLDS);
}

#[test]
fn a_layout_that_is_not_the_builds_is_refused() {
    let folder = Folder::small();
    folder.edit(
        "settings/2.1.toml",
        "{ name = \"cycle_ds\", type = \"u16\"",
        "{ name = \"cycle_ds\", type = \"i16\"",
    );
    let run = folder.release("2.1", &[]).ended(REFUSED);
    assert!(
        run.stdout
            .contains("cycle_ds is i16 in the layout file and u16 in the build"),
        "{}",
        run.stdout
    );
}

#[test]
fn a_dump_goes_through_read_write_and_carry() {
    let folder = Folder::demo();
    folder.write(
        "owner.toml",
        "hrs10 = 1234.5\ntmax = 2300\n[[tc]]\nofs = -3.6\n[[prog]]\nname = \"Bisque\"\nnseg = 1\n[[prog.seg]]\ntemp = 1945\n",
    );
    let write = [
        "settings",
        "write",
        "owner.toml",
        "--version",
        "1.8",
        "--size",
        "32768",
        "--out",
        "dump.bin",
    ];
    folder.run(&write).ended(HOLDS);
    assert_eq!(folder.bytes("dump.bin").len(), 32768);
    let json = folder
        .run(&["settings", "read", "dump.bin", "--version", "1.8", "--form", "json"])
        .ended(HOLDS)
        .json();
    assert_eq!(
        json["settings"]["tc"][0]["ofs"],
        serde_json::json!({ "value": -3.6, "unit": "°F" })
    );
    let shown = folder.run(&[
        "settings", "carry", "dump.bin", "--from", "1.8", "--to", "2.1", "--out", "new.bin",
    ]);
    let shown = shown.ended(HOLDS).stdout;
    let line = |name: &str| {
        shown
            .lines()
            .find(|line| line.contains(name))
            .unwrap()
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(
        line("channel[0].offset"),
        "calibration.channel[0].offset_cdegc -3.6 °F -2 °C"
    );
    assert_eq!(line("heating_minutes"), "heating_minutes 1234.5 h 74070 min");
    let json = folder
        .run(&["settings", "read", "new.bin", "--version", "2.1", "--form", "json"])
        .ended(HOLDS)
        .json();
    assert_eq!(
        json["settings"]["limit_cdegc"],
        serde_json::json!({ "value": 1260, "unit": "°C" })
    );
    // A damaged copy is passed over; with both damaged, what can be saved is, and the exit code says so.
    let mut dump = folder.bytes("new.bin");
    dump[0x4000 + 100] ^= 1;
    folder.write("one.bin", &dump);
    folder
        .run(&["settings", "read", "one.bin", "--version", "2.1"])
        .ended(HOLDS);
    dump[100] ^= 2;
    folder.write("both.bin", &dump);
    let saved = folder
        .run(&["settings", "read", "both.bin", "--version", "2.1"])
        .ended(REFUSED)
        .stdout;
    assert!(saved.contains("DOUBTFUL"), "{saved}");
    let proven = saved.lines().find(|line| line.contains("channel[0].gain_ppm")).unwrap();
    assert!(!proven.contains("DOUBTFUL"), "{proven}");
}

#[test]
fn mistakes_are_told_with_what_to_do() {
    let folder = Folder::demo();
    folder.write("v.toml", "tmx = 2300\ntmax = 9000\n");
    let wrong = folder
        .run(&["settings", "write", "v.toml", "--version", "1.8", "--out", "d.bin"])
        .ended(FAILED);
    assert!(
        wrong.stderr.contains("tmx") && wrong.stderr.contains("tmax"),
        "{}",
        wrong.stderr
    );
    assert!(!folder.path("d.bin").exists());
    folder.write("v.toml", "tmax = 2300\n");
    folder
        .run(&["settings", "write", "v.toml", "--version", "1.8", "--out", "d.bin"])
        .ended(HOLDS);
    let other = folder
        .run(&["settings", "read", "d.bin", "--version", "2.1"])
        .ended(FAILED);
    assert!(
        other.stderr.contains("it holds whole settings of version 1.8"),
        "{}",
        other.stderr
    );
    let none = folder
        .run(&["settings", "read", "d.bin", "--version", "3.0"])
        .ended(FAILED);
    assert!(
        none.stderr.contains("there is no layout of version 3.0"),
        "{}",
        none.stderr
    );
}

#[test]
fn a_layout_is_begun_from_a_build() {
    let folder = Folder::demo();
    let elf = "firmware/built/2.1/kc4-d.elf";
    let import = [
        "settings",
        "import",
        elf,
        "kc4_settings",
        "--version",
        "2.1",
        "--number",
        "0x201",
        "--copy",
        "0",
        "--copy",
        "0x4000",
    ];
    let text = folder.run(&import).ended(HOLDS).stdout;
    let layout = packstaff_settings::layout::Layout::from_text("imported", &text).unwrap();
    assert_eq!(
        (layout.record.name.as_str(), layout.record.size),
        ("kc4_settings_2_1", 1344)
    );
    let wrong = folder
        .run(&[
            "settings",
            "import",
            elf,
            "kc4_setings",
            "--version",
            "2.1",
            "--number",
            "1",
            "--copy",
            "0",
        ])
        .ended(FAILED);
    assert!(
        wrong.stderr.contains("Did you mean \"kc4_settings\"?"),
        "{}",
        wrong.stderr
    );
}
