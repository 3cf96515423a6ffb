//! The demo's release, whole: what the README shows.

use crate::support::{Folder, HOLDS, REFUSED, tool, verdicts};
use std::collections::BTreeSet;
use std::fs;

#[test]
fn the_demo_is_released_and_its_stick_read_by_general_tools() {
    let folder = Folder::demo();
    let report = folder.release("2.1", &["--json"]).ended(HOLDS).json();

    assert_eq!(report["verdict"], "pass");
    assert_eq!(report["columns"], serde_json::json!(["C", "D"]));
    assert_eq!(verdicts(&report, "Build", "fits"), ["pass", "pass"]);
    for id in [
        "from-new",
        "from-1.8",
        "from-2.0",
        "back-to-1.8",
        "back-to-2.0",
        "worlds",
    ] {
        assert_eq!(verdicts(&report, "Rehearsal", id), ["pass", "pass"], "{id}");
    }
    for claim in ["authentic", "arrives", "floor-rises", "keeps-out", "settings-kept"] {
        assert_eq!(
            verdicts(&report, "Rehearsal", &format!("claim-{claim}")),
            ["pass", "pass"]
        );
    }
    for generation in ["g1", "g2"] {
        let id = format!("takes-{generation}");
        assert_eq!(verdicts(&report, "Stick", &id), ["pass", "pass"]);
    }

    let names: BTreeSet<_> = fs::read_dir(folder.path("out/2.1"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let updates = ["KC4C-2-1.UPD", "KC4D-2-1.UPD"];
    let expected = [&updates[..], &["report.json", "sheet.html", "stick.img"]].concat();
    assert_eq!(names, expected.iter().map(|name| (*name).to_owned()).collect());
    let written = report["written"].as_array().unwrap();
    assert_eq!(written.len(), names.len());
    for file in written {
        assert!(folder.path(file.as_str().unwrap()).is_file(), "{file}");
    }
    let kept: serde_json::Value = serde_json::from_str(&folder.text("out/2.1/report.json")).unwrap();
    assert_eq!(kept, report);
    let record = folder.text("ledger/2.1/release.toml");
    for update in updates {
        assert_eq!(
            folder.bytes(&format!("out/2.1/{update}")),
            folder.bytes(&format!("ledger/2.1/{update}"))
        );
        assert!(record.contains(update), "{record}");
    }

    // What becomes of settings is judged, recorded and told.
    for id in ["as-built", "from-1.8", "from-2.0", "to-1.8", "to-2.0"] {
        assert_eq!(verdicts(&report, "Settings", id), ["pass", "pass"], "{id}");
    }
    assert_eq!(
        folder.bytes("settings/2.1.toml"),
        folder.bytes("ledger/2.1/settings.toml")
    );
    let sheet = folder.text("out/2.1/sheet.html");
    let told =
        "From version 2.0: your unit's calibration (thermocouple offset, thermocouple gain) is kept, value for value.";
    assert!(sheet.replace("&#39;", "'").contains(told), "{sheet}");
    assert!(sheet.contains("difference allowed between the thermocouples (0: not compared), which is 0 °C at first"));
    // A layout that was released does not change any more.
    folder.edit("settings/2.1.toml", "min = 2, max = 60", "min = 3, max = 60");
    let again = folder.release("2.1", &["--json"]).ended(REFUSED).json();
    assert_eq!(verdicts(&again, "Settings", "released-2.1"), ["fail", "fail"]);

    // The partition begins at 1 MiB; dosfstools reads volumes, not whole sticks.
    let volume = folder.path("volume.img");
    tool("coreutils", "dd", |dd| {
        let part = |name: &str, file: &std::path::Path| format!("{name}={}", file.display());
        dd.arg(part("if", &folder.path("out/2.1/stick.img")))
            .arg(part("of", &volume))
            .args(["bs=1M", "skip=1", "conv=sparse"])
    });
    let said = tool("dosfstools", "fsck.vfat", |fsck| fsck.arg("-n").arg(&volume));
    assert!(said.contains(": 4 files,") || said.contains(": 5 files,"), "{said}");
    for update in updates {
        let drive = format!("{}@@1M", folder.path("out/2.1/stick.img").display());
        let copy = folder.path(&format!("copy-of-{update}"));
        tool("mtools", "mcopy", |mcopy| {
            mcopy.args(["-i", &drive, &format!("::{update}")]).arg(&copy)
        });
        assert_eq!(fs::read(copy).unwrap(), folder.bytes(&format!("out/2.1/{update}")));
    }
}
