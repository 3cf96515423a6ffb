//! The verb `stick`, on what the ledger has; and `rehearse`.

use crate::support::{FAILED, Folder, HOLDS, REFUSED, tool, verdicts};
use std::fs;
use std::io::Write;

const IDENTITY: [&str; 4] = ["--product", ".", "--identity", "keys/demo-identity.txt"];

fn examine(folder: &Folder, what: &str, more: &[&str]) -> crate::support::Run {
    folder.run(&[&["stick", "examine", what, "--json"], more].concat())
}

fn ids(report: &serde_json::Value) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap();
    findings
        .iter()
        .map(|finding| finding["id"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn the_stick_of_a_recorded_version_needs_no_key() {
    let folder = Folder::demo();
    fs::remove_file(folder.path("keys/keyring.age")).unwrap();
    let said = folder
        .run(&[
            "stick",
            "make",
            ".",
            "--version",
            "2.0",
            "--board",
            "C",
            "--out",
            "stick.img",
        ])
        .ended(HOLDS)
        .stdout;
    assert!(
        said.starts_with("wrote stick.img: 314572800 bytes, FAT32 in a partition"),
        "{said}"
    );
    let drive = format!("{}@@1M", folder.path("stick.img").display());
    let listing = tool("mtools", "mdir", |mdir| mdir.args(["-b", "-i", &drive, "::"]));
    assert_eq!(
        listing.lines().collect::<Vec<_>>(),
        ["::/KC4C-2-0.UPD", "::/README.TXT"]
    );
    tool("mtools", "mcopy", |mcopy| {
        mcopy.args(["-i", &drive, "::KC4C-2-0.UPD"]).arg(folder.path("copy"))
    });
    assert!(folder.bytes("copy") == folder.bytes("ledger/2.0/KC4C-2-0.UPD"));
}

#[test]
fn several_versions_go_on_one_stick_of_any_shape() {
    let folder = Folder::demo();
    for (name, options) in [
        ("a.img", &["--size", "4M", "--format", "fat12"][..]),
        (
            "b.img",
            &["--size", "64M", "--no-table", "--cluster", "2K", "--label", "KILN"],
        ),
        ("c.img", &["--size", "600M", "--cluster", "4K"]),
        ("d.img", &["--size", "310M", "--sector", "4096", "--no-table"]),
        ("e.img", &["--format", "fat16"]),
    ] {
        let make = |out: &str| {
            let fixed = [
                "stick",
                "make",
                ".",
                "--version",
                "1.8",
                "--version",
                "2.0",
                "--out",
                out,
            ];
            folder.run(&[&fixed[..], options].concat()).ended(HOLDS)
        };
        make(name);
        make("again.img");
        assert!(
            folder.bytes(name) == folder.bytes("again.img"),
            "{name}: not the same bytes again"
        );
        let no_table = options.contains(&"--no-table");
        let image = folder.bytes(name);
        folder.write("volume.img", &image[if no_table { 0 } else { 1 << 20 }..]);
        tool("dosfstools", "fsck.vfat", |fsck| {
            fsck.arg("-n").arg(folder.path("volume.img"))
        });
        let drive = folder.path("volume.img").display().to_string();
        let listing = tool("mtools", "mdir", |mdir| mdir.args(["-b", "-i", &drive, "::"]));
        let expected = [
            "KC4C-2-0.UPD",
            "KC4D-2-0.UPD",
            "KC4C-1-8.UPD",
            "KC4D-1-8.UPD",
            "README.TXT",
        ];
        assert_eq!(
            listing.lines().map(|line| &line[3..]).collect::<Vec<_>>(),
            expected,
            "{name}"
        );
        let readme = tool("mtools", "mtype", |mtype| mtype.args(["-i", &drive, "::README.TXT"]));
        assert!(
            readme.contains("Version 1.8:\r\nKC4C-1-8.UPD is for board C."),
            "{readme}"
        );
    }
}

#[test]
fn files_are_copied_into_a_folder() {
    let folder = Folder::demo();
    fs::create_dir(folder.path("usb")).unwrap();
    folder.write("usb/OLD.UPD", "something else");
    let into = |more: &[&str]| {
        folder.run(
            &[
                &[
                    "stick",
                    "make",
                    ".",
                    "--version",
                    "2.0",
                    "--board",
                    "C",
                    "--into",
                    "usb",
                ],
                more,
            ]
            .concat(),
        )
    };
    let said = into(&[]).ended(HOLDS).stdout;
    assert!(
        said.contains("wrote KC4C-2-0.UPD and read it back: 17728 bytes"),
        "{said}"
    );
    assert!(
        said.contains("Other updates are there too, and the unit will show them: OLD.UPD"),
        "{said}"
    );
    assert!(folder.bytes("usb/KC4C-2-0.UPD") == folder.bytes("ledger/2.0/KC4C-2-0.UPD"));
    assert!(
        into(&[])
            .ended(HOLDS)
            .stdout
            .contains("was there already with the same contents")
    );
    folder.write("usb/README.TXT", "the owner's own");
    into(&[]).ended(FAILED).complains("or say --replace");
    assert_eq!(folder.text("usb/README.TXT"), "the owner's own");
    into(&["--replace"]).ended(HOLDS);
    into(&["--size", "64M"]).ended(FAILED).complains("cannot be used with");
}

#[test]
fn no_device_is_touched_by_a_slip() {
    let folder = Folder::demo();
    let device = |path: &str, more: &[&str]| {
        folder.run(&[&["stick", "make", ".", "--version", "2.0", "--device", path], more].concat())
    };
    device("/dev/null", &[]).ended(FAILED).complains("is no block device");
    folder.write("plain", "not a device");
    device("plain", &["--yes-erase", "erase all 12 bytes of plain"])
        .ended(FAILED)
        .complains("is no block device");
    assert_eq!(folder.text("plain"), "not a device");
    // Whatever this machine runs from: all of its disks are held back, without a word that could be said for them.
    for entry in fs::read_dir("/sys/class/block").into_iter().flatten().flatten() {
        let path = format!("/dev/{}", entry.file_name().to_string_lossy());
        let run = device(&path, &[]);
        assert_eq!(run.code, FAILED, "{path}: {}{}", run.stdout, run.stderr);
    }
    folder
        .run(&["stick", "make", ".", "--version", "2.0"])
        .ended(FAILED)
        .complains("--out <FILE>");
}

#[test]
fn what_cannot_be_made_is_said() {
    let folder = Folder::demo();
    let before = folder.tree();
    for (options, complaint) in [
        (&["--version", "2.1"][..], "the ledger has no release of 2.1"),
        (&["--version", "2.0", "--version", "2.0"], "is named twice"),
        (&["--version", "2.0", "--board", "X"], "there is no board X"),
        (
            &["--version", "2.0", "--size", "5M", "--format", "fat32"],
            "no cluster size gives a FAT32 volume",
        ),
        (&["--version", "2.0", "--size", "many"], "is no size"),
        (
            &["--version", "2.0", "--sector", "513"],
            "a sector of 513 bytes cannot be",
        ),
        (
            &["--version", "2.0", "--cluster", "3K"],
            "a cluster of 3072 bytes cannot be",
        ),
        (&["--version", "2.0", "--label", "kiln"], "the label \"kiln\""),
    ] {
        let run = folder.run(&[&["stick", "make", ".", "--out", "stick.img"], options].concat());
        run.ended(FAILED).complains(complaint);
    }
    folder
        .open(&["rehearse", ".", "--version", "2.1"])
        .ended(FAILED)
        .complains("no release of 2.1");
    assert_eq!(folder.tree(), before);
}

#[test]
fn a_stick_image_takes_the_place_of_ordinary_files_only() {
    let folder = Folder::demo();
    let stick = |out: &str| folder.run(&["stick", "make", ".", "--version", "2.0", "--out", out]);
    stick("notes").ended(FAILED).complains("is no ordinary file");
    // Root could even put a file in the place of a device.
    stick("/dev/null").ended(FAILED).complains("is no ordinary file");
    folder.write("old.img", "old");
    stick("old.img").ended(HOLDS);
    assert!(folder.path("old.img").metadata().unwrap().len() > 1 << 20);
}

/// An image, the folder and the archive of the same files; and what units of this product make of each.
#[test]
fn images_folders_and_archives_are_examined() {
    let folder = Folder::demo();
    let make = [
        "stick",
        "make",
        ".",
        "--version",
        "2.0",
        "--size",
        "16M",
        "--board",
        "C",
    ];
    folder.run(&[&make[..], &["--out", "stick.img"]].concat()).ended(HOLDS);
    fs::create_dir(folder.path("usb")).unwrap();
    folder
        .run(&[
            "stick",
            "make",
            ".",
            "--version",
            "2.0",
            "--board",
            "C",
            "--into",
            "usb",
        ])
        .ended(HOLDS);
    let root = folder.path("");
    tool("zip", "zip", |zip| {
        zip.current_dir(&root).args(["-qr", "files.zip", "usb"])
    });
    tool("zip", "zip", |zip| {
        zip.current_dir(&root).args(["-q", "image.zip", "stick.img"])
    });
    for what in ["stick.img", "usb", "files.zip", "image.zip"] {
        let alone = examine(&folder, what, &[]).ended(HOLDS).json();
        assert_eq!(
            (alone["verdict"].as_str(), ids(&alone).len()),
            (Some("ready"), 0),
            "{what}: {alone}"
        );
        let ours = examine(&folder, what, &[&IDENTITY[..], &["--board", "C"]].concat())
            .ended(HOLDS)
            .json();
        assert_eq!(ours["verdict"], "ready", "{what}: {ours}");
        let other = examine(&folder, what, &[&IDENTITY[..], &["--board", "D"]].concat())
            .ended(REFUSED)
            .json();
        assert_eq!(ids(&other), ["other-board"], "{what}: {other}");
        assert_eq!(other["findings"][0]["code"], "N3");
        let barred = examine(
            &folder,
            what,
            &[&IDENTITY[..], &["--board", "C", "--floor", "2"]].concat(),
        );
        assert_eq!(ids(&barred.ended(REFUSED).json()), ["below-floor"], "{what}");
    }
    let report = examine(
        &folder,
        "stick.img",
        &[&IDENTITY[..], &["--board", "C", "--generation", "g1"]].concat(),
    )
    .json();
    let unit = &report["units"][0];
    assert_eq!(unit["offers"][0]["file"], "KC4C-2-0.UPD");
    assert_eq!(unit["offers"][0]["version"], "2.0");
    // The partition table, the first block of the volume, the root.
    assert_eq!(report["listing_reads"], 3);
}

#[test]
fn damage_is_measured_against_the_ledger() {
    let folder = Folder::demo();
    let mut file = folder.bytes("ledger/2.0/KC4C-2-0.UPD");
    fs::create_dir(folder.path("usb")).unwrap();
    file[9_000] ^= 1;
    folder.write("usb/KC4C-2-0.UPD", &file);
    let report = examine(&folder, "usb", &IDENTITY).ended(REFUSED).json();
    assert_eq!(ids(&report), ["file-damaged"]);
    let maker = report["findings"][0]["maker"].as_str().unwrap();
    assert!(
        maker.ends_with("against KC4C-2-0.UPD of 2.0, 1 bytes differ, the first at 9000"),
        "{maker}"
    );
    folder.write("usb/KC4C-2-0.UPD", &file[..8_000]);
    let report = examine(&folder, "usb", &[]).ended(REFUSED).json();
    assert_eq!(report["findings"][0]["maker"], "8000 bytes of 17728");
}

#[test]
fn what_cannot_be_examined_is_said() {
    let folder = Folder::demo();
    examine(&folder, "nowhere", &[])
        .ended(FAILED)
        .complains("nowhere cannot be read");
    let mut archive = fs::File::create(folder.path("torn.zip")).unwrap();
    archive.write_all(b"PK\x03\x04 and nothing more").unwrap();
    examine(&folder, "torn.zip", &[])
        .ended(FAILED)
        .complains("is a zip archive that cannot be read");
    examine(&folder, "notes", &[&IDENTITY[..], &["--board", "X"]].concat())
        .ended(FAILED)
        .complains("there is no board X");
    examine(&folder, "notes", &[&IDENTITY[..], &["--generation", "g9"]].concat())
        .ended(FAILED)
        .complains("there is no generation \"g9\"");
    examine(&folder, "notes", &["--board", "C"])
        .ended(FAILED)
        .complains("--product");
    let report = examine(&folder, "notes", &[]).ended(REFUSED).json();
    assert_eq!(ids(&report), ["no-update"]);
}

#[test]
fn a_recorded_version_is_rehearsed_again() {
    let folder = Folder::small();
    folder.release("1.8", &[]).ended(HOLDS);
    folder.release("2.1", &[]).ended(HOLDS);
    let before = folder.tree();
    let report = folder
        .open(&["rehearse", ".", "--version", "2.1", "--json"])
        .ended(HOLDS)
        .json();
    for id in ["from-new", "from-1.8", "worlds", "claim-arrives", "claim-settings-kept"] {
        assert_eq!(verdicts(&report, "Rehearsal", id), ["pass"], "{id}");
    }
    assert_eq!(folder.tree(), before);
}
