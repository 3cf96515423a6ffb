//! Files into folders, and whole sticks: what is written is read back, and what must not be erased is not.
//!
//! No device is touched: a folder stands for the system's files, and an ordinary file for the stick.

mod common;

use std::fs::{self, File};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use common::{STAMP, noise, succeed, tool};
use packstaff_stick::deliver::{
    DeliverError, DeviceRefusal, Permit, SameName, System, deliver, erase_and_write, other_updates, words,
};
use packstaff_stick::{Kind, SeekSource, StickFile, StickSpec, build, listing, read_file};
use tempfile::TempDir;

fn files() -> Vec<StickFile> {
    let file = |name: &str, contents| StickFile {
        name: name.to_owned(),
        contents,
    };
    vec![
        file("KC4-0142.UPD", noise(70_000, 1)),
        file("README.TXT", b"read me\r\n".to_vec()),
    ]
}

#[test]
fn files_are_copied_and_compared() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("notes.txt"), "the owner's own").unwrap();
    fs::write(folder.path().join("KC4-0100.UPD"), "older").unwrap();
    let first = deliver(folder.path(), &files(), SameName::Refused).unwrap();
    assert_eq!(
        first.written,
        [("KC4-0142.UPD".to_owned(), 70_000), ("README.TXT".to_owned(), 9)]
    );
    for file in files() {
        assert_eq!(fs::read(folder.path().join(&file.name)).unwrap(), file.contents);
    }
    let again = deliver(folder.path(), &files(), SameName::Refused).unwrap();
    assert_eq!(
        (again.written.len(), again.kept.len()),
        (0, 2),
        "what is there is compared and kept"
    );
    let others = other_updates(folder.path(), &["KC4-0142.UPD"], "UPD").unwrap();
    assert_eq!(others, ["KC4-0100.UPD"]);
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        4,
        "nothing is left beside them"
    );
}

#[test]
fn nothing_is_replaced_unless_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path().join("README.TXT");
    fs::write(&there, "something else").unwrap();
    let refused = deliver(folder.path(), &files(), SameName::Refused);
    assert!(
        matches!(&refused, Err(DeliverError::Exists(path)) if *path == there),
        "{refused:?}"
    );
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        1,
        "and nothing was written"
    );
    deliver(folder.path(), &files(), SameName::Replaced).unwrap();
    assert_eq!(fs::read(&there).unwrap(), b"read me\r\n");
    fs::remove_file(&there).unwrap();
    fs::create_dir(&there).unwrap();
    assert!(matches!(
        deliver(folder.path(), &files(), SameName::Replaced),
        Err(DeliverError::NotAFile(_))
    ));
    fs::remove_dir(&there).unwrap();
    std::os::unix::fs::symlink("/etc/hostname", &there).unwrap();
    assert!(
        matches!(
            deliver(folder.path(), &files(), SameName::Replaced),
            Err(DeliverError::NotAFile(_))
        ),
        "links are not followed"
    );
    let nowhere = folder.path().join("nowhere");
    assert!(matches!(
        deliver(&nowhere, &files(), SameName::Refused),
        Err(DeliverError::NoFolder(_))
    ));
    let bad = [StickFile {
        name: "../UP.TXT".to_owned(),
        contents: Vec::new(),
    }];
    assert!(matches!(
        deliver(folder.path(), &bad, SameName::Refused),
        Err(DeliverError::Name(_))
    ));
}

/// A folder that stands for a system with one stick, `sdb`, of 64 MiB and two partitions; and a disk, `sda`, that the system is on.
struct Pretended {
    root: TempDir,
}

const SIZE: u64 = 64 << 20;

impl Pretended {
    fn new() -> Self {
        let it = Self {
            root: tempfile::tempdir().unwrap(),
        };
        for (name, number, size, removable) in [("sda", "8:0", 2_000_000, "0"), ("sdb", "8:16", SIZE / 512, "1")] {
            it.put(&format!("sys/{name}/dev"), number);
            it.put(&format!("sys/{name}/size"), &size.to_string());
            it.put(&format!("sys/{name}/removable"), removable);
            it.put(&format!("sys/{name}/ro"), "0");
            it.put(&format!("sys/{name}/queue/logical_block_size"), "512");
            it.put(&format!("sys/{name}/device/vendor"), "Invented ");
            it.put(&format!("sys/{name}/device/model"), "Flash One  ");
            it.dir(&format!("sys/{name}/holders"));
            it.put(&format!("dev/{name}"), "");
        }
        for (name, number) in [("sda/sda1", "8:1"), ("sdb/sdb1", "8:17"), ("sdb/sdb2", "8:18")] {
            it.put(&format!("sys/{name}/partition"), "1");
            it.put(&format!("sys/{name}/dev"), number);
            it.dir(&format!("sys/{name}/holders"));
        }
        it.put("dev/sdb1", "");
        it.put("sys/sdb1/partition", "1");
        it.put("sys/sdb1/dev", "8:17");
        it.put(
            "proc/self/mountinfo",
            "22 1 8:1 / / rw - ext4 /dev/sda1 rw\n40 22 0:5 / /proc rw - proc proc rw\n",
        );
        it.put("proc/swaps", "Filename Type Size Used Priority\n");
        // What was on it: no zeros anywhere near the tables.
        let device = File::create(it.path("dev/sdb")).unwrap();
        device.set_len(SIZE).unwrap();
        for at in (0..SIZE).step_by(1 << 20) {
            device.write_all_at(&noise(4096, at), at).unwrap();
        }
        device.write_all_at(&noise(4096, 3), SIZE - 4096).unwrap();
        it
    }

    fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    fn dir(&self, name: &str) {
        fs::create_dir_all(self.path(name)).unwrap();
    }

    fn put(&self, name: &str, text: &str) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, format!("{text}\n")).unwrap();
    }

    fn system(&self) -> System {
        System::pretended(self.root.path())
    }

    #[track_caller]
    fn refused(&self, device: &str, expected: &str) -> DeviceRefusal {
        let refusal = self.system().stick(&self.path(device)).unwrap_err();
        let text = refusal.to_string();
        assert!(text.contains(expected), "{text}");
        refusal
    }
}

fn image(size: u64) -> packstaff_stick::StickImage {
    let spec = StickSpec {
        kind: Kind::Fat32,
        size,
        cluster: None,
        ..StickSpec::usual(7, STAMP)
    };
    let files = files();
    build(
        &files
            .into_iter()
            .fold(spec, |spec, file| spec.with_file(file.name, file.contents)),
    )
    .unwrap()
}

#[test]
fn only_free_removable_sticks_pass() {
    let it = Pretended::new();
    let facts = it.system().stick(&it.path("dev/sdb")).unwrap();
    assert_eq!(
        (facts.name.as_str(), facts.size, facts.model.as_str()),
        ("sdb", SIZE, "Invented Flash One")
    );
    std::os::unix::fs::symlink("sdb", it.path("dev/by-name")).unwrap();
    assert_eq!(
        it.system().stick(&it.path("dev/by-name")).unwrap(),
        facts,
        "another name for the same stick"
    );

    it.refused("dev/sda", "is not removable");
    it.refused("dev/sdb1", "is one partition");
    it.refused("dev/none", "is no block device");
    it.put("file", "");
    it.refused("file", "is no block device");
    it.put("dev/sdc", "");
    it.refused("dev/sdc", "the system tells nothing");
    it.put("sys/loop0/dev", "7:0");
    it.put("dev/loop0", "");
    it.refused("dev/loop0", "stands for other devices");
}

#[test]
fn each_guard_alone_holds_a_stick_back() {
    for (file, text, expected) in [
        ("sys/sdb/removable", "0", "is not removable"),
        ("sys/sdb/ro", "1", "is read-only"),
        ("sys/sdb/size", "100", "sticks of"),
        ("sys/sdb/size", "600000000", "somebody's disk"),
        ("sys/sdb/size", "many", "sticks of"),
        ("sys/sdb/queue/logical_block_size", "520", "blocks of 520 bytes"),
        ("sys/sdb/dev", "", "the number of sdb is not known"),
        (
            "proc/self/mountinfo",
            "30 22 8:16 / /media/you/KILN rw - vfat /dev/sdb rw",
            "sdb is mounted at /media/you/KILN",
        ),
        (
            "proc/self/mountinfo",
            "30 22 8:18 / /mnt rw - vfat /dev/other rw",
            "sdb2 is mounted at /mnt",
        ),
        ("sys/sdb/holders/dm-0", "", "sdb belongs to dm-0"),
        ("sys/sdb/sdb2/holders/md0", "", "sdb2 belongs to md0"),
    ] {
        let it = Pretended::new();
        it.put(file, text);
        it.refused("dev/sdb", expected);
    }
    // By the name of the source, where the number is one of the file system's own.
    let it = Pretended::new();
    let line = format!(
        "30 22 0:44 / /mnt rw - btrfs {} rw",
        it.path("dev/sdb1").canonicalize().unwrap().display()
    );
    it.put("proc/self/mountinfo", &line);
    it.refused("dev/sdb", "sdb1 is mounted at /mnt");
    let it = Pretended::new();
    it.put(
        "proc/swaps",
        &format!("{} partition 1 0 -2", it.path("dev/sdb2").display()),
    );
    it.refused("dev/sdb", "sdb2 is used as memory");
    let it = Pretended::new();
    fs::remove_file(it.path("proc/self/mountinfo")).unwrap();
    it.refused("dev/sdb", "what is mounted cannot be read");
}

#[test]
fn only_the_exact_words_give_leave() {
    let it = Pretended::new();
    let facts = it.system().stick(&it.path("dev/sdb")).unwrap();
    assert_eq!(words(&facts), "erase all 67108864 bytes of sdb");
    for said in [
        "",
        "yes",
        "erase all 67108864 bytes of sdc",
        "erase all 67108865 bytes of sdb",
        "Erase all 67108864 bytes of sdb",
    ] {
        let refusal = Permit::by_words(facts.clone(), said).unwrap_err();
        assert!(
            refusal
                .to_string()
                .contains("say exactly: --yes-erase \"erase all 67108864 bytes of sdb\""),
            "{refusal}"
        );
    }
    assert!(Permit::by_words(facts, "erase all 67108864 bytes of sdb").is_ok());
}

fn permit(it: &Pretended) -> Permit {
    let facts = it.system().stick(&it.path("dev/sdb")).unwrap();
    let said = words(&facts);
    Permit::by_words(facts, &said).unwrap()
}

fn fsck(device: &Path, folder: &Path) {
    let volume = folder.join("volume.img");
    let bytes = fs::read(device).unwrap();
    fs::write(&volume, &bytes[1 << 20..]).unwrap();
    succeed(&tool("dosfstools", "fsck.vfat", |command| {
        command.arg("-n").arg(&volume)
    }));
}

#[test]
fn a_stick_is_erased_written_and_read_back() {
    let it = Pretended::new();
    let image = image(SIZE);
    erase_and_write(permit(&it), &image).unwrap();
    let device = it.path("dev/sdb");
    fsck(&device, it.root.path());
    let mut source = SeekSource::new(File::open(&device).unwrap()).unwrap();
    let found = listing(&mut source).unwrap();
    assert_eq!(found.entries.len(), 2);
    for (listed, file) in found.entries.iter().zip(files()) {
        assert_eq!(
            read_file(&mut source, &found.volume, &listed.entry).unwrap(),
            file.contents
        );
    }
    let bytes = fs::read(&device).unwrap();
    assert!(
        bytes[bytes.len() - 4096..].iter().all(|byte| *byte == 0),
        "the end, where an old table could be"
    );
    let mut expected = image.to_vec();
    // What lies behind the files belongs to no file, and is left.
    for at in (0..SIZE as usize)
        .step_by(1 << 20)
        .filter(|at| *at as u64 >= image.system_bytes())
    {
        let end = (at + 4096).min(SIZE as usize - (1 << 20));
        if at < end && expected[at..end].iter().all(|byte| *byte == 0) {
            expected[at..end].copy_from_slice(&noise(4096, at as u64)[..end - at]);
        }
    }
    assert!(bytes == expected, "nothing else is changed");
}

#[test]
fn an_image_for_another_stick_changes_nothing() {
    let it = Pretended::new();
    let before = fs::read(it.path("dev/sdb")).unwrap();
    for size in [SIZE + (1 << 20), SIZE - (16 << 20)] {
        assert!(matches!(
            erase_and_write(permit(&it), &image(size)),
            Err(DeviceRefusal::OtherSize { .. })
        ));
    }
    // Between the look at the system and the writing, another stick was plugged in.
    let permit = permit(&it);
    File::options()
        .write(true)
        .open(it.path("dev/sdb"))
        .unwrap()
        .set_len(SIZE / 2)
        .unwrap();
    assert!(matches!(
        erase_and_write(permit, &image(SIZE)),
        Err(DeviceRefusal::OtherSize { .. })
    ));
    assert!(fs::read(it.path("dev/sdb")).unwrap() == before[..SIZE as usize / 2]);
}

#[test]
fn what_cannot_be_written_is_said() {
    // A folder in the place of the device cannot be opened for writing.
    let it = Pretended::new();
    let permit = permit(&it);
    fs::remove_file(it.path("dev/sdb")).unwrap();
    fs::create_dir(it.path("dev/sdb")).unwrap();
    let refusal = erase_and_write(permit, &image(SIZE)).unwrap_err();
    assert!(refusal.to_string().contains("Nothing was changed"), "{refusal}");
}
