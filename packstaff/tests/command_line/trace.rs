//! `trace`: what happened to a unit, from what its owner sent.

use crate::support::{FAILED, Folder, HOLDS, Run, tool};
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{Beginning, BoardUnderTest, recorded_files};
use packstaff_product::Unlock;
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::flash::{Change, EraseCut, Flash, Inside, Torn};
use serde_json::Value;

/// A unit of board D with 1.8 whose install of 2.0 is cut half way through its nth change; its flash and its stick are written to
/// the folder as `flash.bin` and `stick.img`. Where there are fewer changes, the install has arrived.
fn cut(folder: &Folder, nth: usize) {
    let flash = cut_on(folder, "D", nth);
    folder.write("flash.bin", flash.bytes(0x0800_0000, 512 << 10).unwrap());
}

/// The flash of a unit whose install is cut, as above; its stick is written to the folder as `stick.img`.
pub(crate) fn cut_on(folder: &Folder, revision: &str, nth: usize) -> Flash {
    let bench = Bench::open(&folder.path("")).unwrap();
    let keyring = bench
        .keyring(&mut Unlock::IdentityFile(folder.path("keys/demo-identity.txt")))
        .unwrap();
    let board = bench.product.board(revision).unwrap();
    let files = recorded_files(&bench, board).unwrap();
    let board = BoardUnderTest::of(&bench, keyring.keyring(), board, files).unwrap();
    let file = board.file("2.0").unwrap();
    let spec = packstaff_bench::stick_spec::plain(&[(&file.name, &file.bytes)]);
    let image = packstaff_stick::build(&spec).unwrap();
    image.write_to(folder.path("stick.img")).unwrap();
    let mut world = board.world(&Beginning::Runs("1.8".to_owned())).unwrap();
    world.stick = Some(insert(image));
    let mut changes = Vec::new();
    power_up(
        &board.blueprint,
        &mut world,
        Owner::Picks(file.manifest),
        |world, change| changes.push((world.flash.clone(), change.clone())),
    );
    match changes.into_iter().nth(nth) {
        None => world.flash,
        Some((mut flash, change)) => {
            let torn = match &change {
                Change::Erase { .. } => Torn::Erase(EraseCut::Lower),
                Change::Program { data, .. } => Torn::Program {
                    whole: data.len() as u32 / 16,
                    inside: Inside::Part,
                },
            };
            flash.tear(&change, torn).unwrap();
            flash
        }
    }
}

pub(crate) fn trace(folder: &Folder, more: &[&str]) -> Run {
    folder.open(&[&["trace", "."], more].concat())
}

pub(crate) fn works(account: &Value) -> Vec<(&str, &str)> {
    let courses = account["flash"]["courses"].as_array().unwrap();
    let told = courses.iter().map(|course| {
        let version = course["installing"][0]["version"].as_str().unwrap_or_default();
        (course["work"].as_str().unwrap(), version)
    });
    told.collect()
}

const WRITING: usize = 120;
const ARRIVED: usize = 1000;

#[test]
fn an_install_that_was_cut_is_told_and_the_right_file_is_sent() {
    let folder = Folder::demo();
    cut(&folder, WRITING);
    let sent = ["--flash", "flash.bin", "--stick", "stick.img", "--code", "u1"];
    let account = trace(&folder, &[&sent[..], &["--json"]].concat()).ended(HOLDS).json();
    assert_eq!(account["board"], "D");
    assert_eq!(works(&account), [("writing", "2.0"), ("erasing", "2.0")]);
    assert_eq!(account["next"]["at_best"]["code"], "U1");
    assert_eq!(account["repair"]["needed"], true);
    assert_eq!(account["repair"]["tried"][0]["file"], "KC4D-2-0.UPD");
    assert_eq!(
        account["repair"]["tried"][0]["works_for"],
        serde_json::json!(["g1", "g2"])
    );
    assert_eq!(account["misfits"], serde_json::json!([]));

    let told = trace(&folder, &[&sent[..], &["--reply", "reply.txt"]].concat())
        .ended(HOLDS)
        .stdout;
    for part in [
        "An install of 2.0 was broken off while it was being written to the slot",
        "floor: issue 1",
        "KC4D-2-0.UPD  works (keys of g1, g2), the version that was being installed",
        "Settings and calibration: would tell",
    ] {
        assert!(told.contains(part), "{part}:\n{told}");
    }
    let reply = folder.text("reply.txt");
    // The cautions of the declared hazards stand before the steps.
    let place = |text: &str| {
        reply
            .find(text)
            .unwrap_or_else(|| panic!("{text:?} is not in:\n{reply}"))
    };
    assert!(place("Mains voltage can kill") < place("What to do:"));
    assert!(place("It can heat without you") < place("What to do:"));
    assert!(place("1. Let the kiln cool") < place("KC4D-2-0.UPD"));
    assert!(place("before version 2.0 was complete") < place("Mains voltage can kill"));
    // The reader is no programmer.
    for word in [
        "0x",
        "sector",
        "descriptor",
        "granule",
        "register",
        "flash",
        "slot",
        "digest",
        "payload",
    ] {
        assert!(!reply.contains(word), "{word:?} is in:\n{reply}");
    }
}

#[test]
fn a_unit_that_is_in_order_needs_no_stick() {
    let folder = Folder::demo();
    cut(&folder, ARRIVED);
    let account = trace(&folder, &["--flash", "flash.bin", "--json"]).ended(HOLDS).json();
    assert_eq!(works(&account), [("nothing", "2.0")]);
    assert_eq!(account["next"]["at_best"]["release"]["version"], "2.0");
    assert_eq!(account["repair"]["needed"], false);
    let reply = account["reply"].as_str().unwrap();
    assert!(
        reply.contains("version 2.0 is there, complete") && !reply.contains(".UPD"),
        "{reply}"
    );
    // A unit that says otherwise is sent a stick all the same.
    let account = trace(&folder, &["--flash", "flash.bin", "--code", "U1", "--json"])
        .ended(HOLDS)
        .json();
    assert_eq!(account["misfits"][0]["id"], "code-against-flash");
    assert!(account["reply"].as_str().unwrap().contains("KC4D-2-0.UPD"));
}

/// The same bytes in the formats that readers write, made by srec_cat, tell the same; so do the slot and the register alone.
#[test]
fn read_outs_come_in_several_formats_and_in_parts() {
    let folder = Folder::demo();
    cut(&folder, WRITING);
    let courses = |sent: &[&str]| {
        let account = trace(&folder, &[sent, &["--json"]].concat()).ended(HOLDS).json();
        (account["flash"]["courses"].clone(), account["repair"].clone())
    };
    let whole = courses(&["--flash", "flash.bin"]);
    for (option, file) in [("-Intel", "flash.hex"), ("-Motorola", "flash.srec")] {
        let place = ["flash.bin", "-Binary", "-offset", "0x08000000", "-o", file, option];
        tool("srecord", "srec_cat", |command| {
            command.current_dir(folder.path("")).args(place)
        });
        assert_eq!(courses(&["--flash", file]), whole, "{file}");
    }
    let bytes = folder.bytes("flash.bin");
    folder.write("register.bin", &bytes[0x8000..0x9000]);
    folder.write("slot.bin", &bytes[0xa000..0x40000]);
    assert_eq!(
        courses(&["--flash", "slot.bin@0x0800a000", "--flash", "register.bin@134250496"]),
        whole
    );
}

#[test]
fn a_unit_is_told_by_its_code_alone_if_the_board_is_named() {
    let folder = Folder::demo();
    trace(&folder, &["--code", "S113"])
        .ended(FAILED)
        .complains("name it with --board");
    let told = trace(&folder, &["--code", "S113", "--board", "C"]).ended(HOLDS).stdout;
    assert!(
        told.contains("formatted as NTFS") && told.contains("KC4C-2-0.UPD"),
        "{told}"
    );
}

#[test]
fn nothing_is_sent_for_a_board_that_it_may_not_be() {
    let folder = Folder::demo();
    cut(&folder, WRITING);
    let account = trace(&folder, &["--flash", "flash.bin", "--board", "C", "--json"])
        .ended(HOLDS)
        .json();
    assert_eq!(account["misfits"][0]["id"], "another-board");
    let reply = account["reply"].as_str().unwrap();
    assert!(
        reply.contains("tell us which board it has") && !reply.contains(".UPD"),
        "{reply}"
    );
}

/// A dump with one whole record as 1.8 keeps them, and one that a cut has left.
#[test]
fn a_dump_of_the_settings_is_told_by_its_layout() {
    let folder = Folder::demo();
    cut(&folder, ARRIVED);
    let bench = Bench::open(&folder.path("")).unwrap();
    let layout = packstaff_bench::settings::of_version(&bench, "1.8")
        .unwrap()
        .unwrap()
        .layout;
    let mut record = vec![0; layout.record.size as usize];
    packstaff_settings::dump::seal(&layout, &mut record, 1);
    let packstaff_settings::layout::Keeping::Copies(starts) = &layout.memory.keeping else {
        panic!()
    };
    let mut dump = vec![0xff; 32 << 10];
    for (start, at) in starts.iter().zip(0..) {
        let place = *start as usize..*start as usize + record.len();
        dump[place.clone()].copy_from_slice(&record);
        if at > 0 {
            dump[place.end - 100] ^= 1;
        }
    }
    folder.write("settings.bin", &dump);
    let sent = ["--flash", "flash.bin", "--settings", "settings.bin"];
    let told = trace(&folder, &sent).ended(HOLDS).stdout;
    for part in [
        "As 1.8 keeps them: 1 of 2 records is whole.",
        "They are not as 2.0 keeps them",
        "a complete copy of them is there",
    ] {
        let flat = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "{part}:\n{told}");
    }
    folder.write("settings.bin", vec![0xff; 32 << 10]);
    let account = trace(&folder, &[&sent[..], &["--json"]].concat()).ended(HOLDS).json();
    assert_eq!(account["settings"]["versions"], serde_json::json!([]));
    let reply = account["reply"].as_str().unwrap().split_whitespace();
    let reply = reply.collect::<Vec<_>>().join(" ");
    assert!(reply.contains("there is no complete copy"), "{reply}");
    trace(&folder, &["--flash", "flash.bin", "--settings", "none.bin"])
        .ended(FAILED)
        .complains("the settings dump none.bin cannot be read");
}

#[test]
fn what_cannot_be_used_is_said() {
    let folder = Folder::demo();
    let refused = |more: &[&str], why: &str| {
        trace(&folder, more).ended(FAILED).complains(why);
    };
    refused(&["--flash", "none.bin"], "the read-out none.bin cannot be read");
    refused(&["--flash", "firmware/built/2.0/kc4-d.elf"], "this is an ELF file");
    refused(&["--flash", "flash.bin@0xfffffffff"], "is no address");
    refused(&["--stick", "keys"], "is a folder");
    refused(&["--code", "Z9", "--board", "D"], "is no reason code");
    refused(
        &["--code", "U1", "--board", "Q"],
        "there is no board Q; product.toml has C, D",
    );
    folder.write("empty.bin", "");
    refused(
        &["--flash", "empty.bin", "--board", "D"],
        "the read-out empty.bin cannot be read",
    );
    folder.write("long.bin", vec![0; 100]);
    refused(
        &["--flash", "long.bin@0xffffffff", "--board", "D"],
        "the read-out long.bin",
    );
}
