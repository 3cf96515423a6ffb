//! What a caller in C can get wrong has a return code, and changes nothing.

#![allow(unsafe_code, reason = "calls as C makes them")]

use packstaff_c_interface::calls::*;
use packstaff_c_interface::types::*;
use std::ptr::{null, null_mut};

static RUNS: [Run; 1] = [Run { count: 8, size: 1024 }];
static KEYS: [SigningKey; 1] = [SigningKey {
    algorithm: algorithms::ED25519,
    kid_len: 5,
    kid: *b"maker\0\0\0\0\0\0\0\0\0\0\0",
    key: [7; SIGNING_KEY_LEN],
}];
static KEY: UnitKey = UnitKey {
    kid_len: 2,
    kid: *b"g2\0\0\0\0\0\0\0\0\0\0\0\0\0\0",
    key: [0x22; 32],
};

fn config() -> Config {
    let range = |base, size| Range { base, size };
    Config {
        vendor: [1; 16],
        class_id: [2; 16],
        extension: *b"UPD",
        erased: 0xff,
        granule: 8,
        flash_base: 0x0800_0000,
        run_count: 1,
        runs: RUNS.as_ptr(),
        siblings: null(),
        signing_keys: KEYS.as_ptr(),
        unit_key: &raw const KEY,
        beside: null(),
        sibling_count: 0,
        signing_key_count: 1,
        layout: layouts::SINGLE,
        slot: range(0x0800_0800, 6 * 1024),
        second: range(0, 0),
        floors: [range(0x0800_0000, 1024), range(0x0800_0400, 1024)],
    }
}

fn reply(kind: u32) -> Reply {
    Reply {
        kind,
        row: 0,
        blocks: 0,
        data: null(),
        len: 0,
    }
}

const NO_REQUEST: Request = Request {
    kind: 99,
    address: 0,
    len: 0,
    code: Code {
        number: 0,
        letter: 0,
        zero: 0,
    },
    block: 0,
    data: null(),
};

/// A machine in its storage, as a C program has it.
struct Bench {
    storage: Box<InstallerStorage>,
    config: Config,
    request: Request,
}

impl Bench {
    fn new() -> Self {
        Self {
            storage: Box::new(InstallerStorage {
                storage: [0xa5; INSTALLER_SIZE],
            }),
            config: config(),
            request: NO_REQUEST,
        }
    }

    fn begun() -> Self {
        let mut bench = Self::new();
        assert_eq!(bench.begin(INSTALLER_SIZE as u32), returns::OK);
        bench
    }

    fn begin(&mut self, size: u32) -> u32 {
        // SAFETY: storage and configuration are whole.
        unsafe { packstaff_installer_begin(&raw mut *self.storage, size, &raw const self.config) }
    }

    fn step(&mut self, reply: Reply) -> u32 {
        // SAFETY: all four are whole; the callers' replies name whole ranges.
        unsafe {
            packstaff_installer_step(
                &raw mut *self.storage,
                &raw const self.config,
                &raw const reply,
                &raw mut self.request,
            )
        }
    }
}

#[test]
fn a_null_pointer_is_told() {
    let mut bench = Bench::begun();
    let up = reply(replies::POWER_UP);
    let (storage, config, request) = (&raw mut *bench.storage, &raw const bench.config, &raw mut bench.request);
    let mut fault = 0;
    // SAFETY: what is not null is whole.
    unsafe {
        for code in [
            packstaff_installer_begin(null_mut(), 9999, config),
            packstaff_installer_begin(storage, 9999, null()),
            packstaff_installer_step(null_mut(), config, &raw const up, request),
            packstaff_installer_step(storage, null(), &raw const up, request),
            packstaff_installer_step(storage, config, null(), request),
            packstaff_installer_step(storage, config, &raw const up, null_mut()),
            packstaff_installer_progress(storage, config, null_mut()),
            packstaff_installer_row(null_mut(), 0, null_mut()),
            packstaff_installer_left_out(storage, null_mut()),
            packstaff_installer_end(null_mut()),
            packstaff_config_check(null(), &raw mut fault),
            packstaff_config_check(config, null_mut()),
            packstaff_digest_begin(null_mut(), 9999),
            packstaff_digest_end(null_mut(), null_mut()),
        ] {
            assert_eq!(code, returns::NULL);
        }
    }
    assert_eq!(bench.step(up), returns::OK);
}

#[test]
fn a_misaligned_pointer_is_told() {
    let mut bench = Bench::begun();
    let mut words = [0_u64; INSTALLER_SIZE / 8 + 1];
    let odd = words
        .as_mut_ptr()
        .cast::<u8>()
        .wrapping_add(4)
        .cast::<InstallerStorage>();
    let up = reply(replies::POWER_UP);
    // SAFETY: misaligned pointers are looked at and no more.
    unsafe {
        assert_eq!(
            packstaff_installer_begin(odd, INSTALLER_SIZE as u32, &raw const bench.config),
            returns::MISALIGNED
        );
        assert_eq!(packstaff_installer_end(odd), returns::MISALIGNED);
        let odd = (&raw const up).cast::<u8>().wrapping_add(1).cast::<Reply>();
        let said = packstaff_installer_step(
            &raw mut *bench.storage,
            &raw const bench.config,
            odd,
            &raw mut bench.request,
        );
        assert_eq!(said, returns::MISALIGNED);
    }
}

#[test]
fn storage_that_was_not_begun_is_told() {
    for fill in [0x00, 0xa5, 0xff] {
        let mut bench = Bench::new();
        bench.storage.storage.fill(fill);
        assert_eq!(bench.step(reply(replies::POWER_UP)), returns::NOT_BEGUN);
        assert_eq!(bench.request.kind, NO_REQUEST.kind);
    }
    let mut bench = Bench::begun();
    // SAFETY: the storage is whole.
    unsafe {
        assert_eq!(packstaff_installer_end(&raw mut *bench.storage), returns::OK);
        assert_eq!(packstaff_installer_end(&raw mut *bench.storage), returns::NOT_BEGUN);
    }
    assert!(bench.storage.storage.iter().all(|byte| *byte == 0));
    assert_eq!(bench.step(reply(replies::POWER_UP)), returns::NOT_BEGUN);
    assert_eq!(bench.begin(INSTALLER_SIZE as u32), returns::OK);
}

#[test]
fn storage_of_another_version_is_told() {
    let mut bench = Bench::new();
    assert_eq!(bench.begin(INSTALLER_SIZE as u32 - 1), returns::TOO_SMALL);
    assert!(bench.storage.storage.iter().all(|byte| *byte == 0xa5));
}

#[test]
fn a_reply_that_answers_nothing_is_told_and_the_machine_waits_on() {
    let mut bench = Bench::begun();
    for kind in 0..=12 {
        if kind != replies::POWER_UP {
            assert_eq!(bench.step(reply(kind)), returns::REPLY, "kind {kind} as the first");
        }
    }
    assert_eq!(bench.step(reply(replies::POWER_UP)), returns::OK);
    let first = bench.request;
    assert_eq!(first.kind, requests::READ_FLASH);
    let bytes = [0xff_u8; 512];
    let flash = Reply {
        data: bytes.as_ptr(),
        len: first.len,
        ..reply(replies::FLASH)
    };
    let wrong = [
        reply(replies::DONE),
        reply(replies::NO_STICK),
        reply(77),
        Reply {
            len: first.len + 1,
            ..flash
        },
        Reply { len: 0, ..flash },
    ];
    for wrong in wrong {
        assert_eq!(bench.step(wrong), returns::REPLY, "{wrong:?}");
    }
    assert_eq!(bench.step(Reply { data: null(), ..flash }), returns::NULL);
    assert_eq!(bench.request.kind, first.kind);
    // A machine that was never asked the wrong way goes on to the same request.
    let mut other = Bench::begun();
    assert_eq!(other.step(reply(replies::POWER_UP)), returns::OK);
    assert_eq!((bench.step(flash), other.step(flash)), (returns::OK, returns::OK));
    let seen = |request: Request| (request.kind, request.address, request.len);
    assert_eq!(seen(bench.request), seen(other.request));
    assert_ne!(seen(bench.request), seen(first));
}

#[test]
fn memory_that_overlaps_is_told() {
    let mut bench = Bench::begun();
    assert_eq!(bench.step(reply(replies::POWER_UP)), returns::OK);
    let inside = (&raw const *bench.storage).cast::<u8>().wrapping_add(64);
    let flash = Reply {
        data: inside,
        len: bench.request.len,
        ..reply(replies::FLASH)
    };
    assert_eq!(bench.step(flash), returns::OVERLAP);
    let failed = reply(replies::FAILED);
    // SAFETY: the request lies inside of the storage, which is whole.
    let said = unsafe {
        packstaff_installer_step(
            &raw mut *bench.storage,
            &raw const bench.config,
            &raw const failed,
            inside.cast_mut().cast(),
        )
    };
    assert_eq!(said, returns::OVERLAP);
    assert_eq!(bench.step(failed), returns::OK);
}

#[test]
fn each_fault_of_a_configuration_is_told() {
    let odd_key = SigningKey {
        algorithm: -7,
        ..KEYS[0]
    };
    let long_kid = SigningKey { kid_len: 17, ..KEYS[0] };
    type Spoil<'a> = &'a dyn Fn(&mut Config);
    let memory = |base, granule, run_count| Memory {
        base,
        granule,
        run_count,
        erased: 0xff,
        runs: RUNS.as_ptr(),
    };
    let (odd_granule, too_many_runs) = (memory(0x9000_0000, 12, 1), memory(0x9000_0000, 8, 9));
    let at_the_same_place = memory(0x0800_0400, 8, 1);
    let faulty: [(u32, Spoil<'_>); 14] = [
        (faults::GRANULE, &|config| config.granule = 12),
        (faults::NO_ANCHOR, &|config| config.signing_key_count = 0),
        (faults::SLOT, &|config| config.slot.size = 1000),
        (faults::FLOOR_SECTOR, &|config| config.floors[0].size = 512),
        (faults::OVERLAP, &|config| config.floors[0] = config.floors[1]),
        (faults::COUNT, &|config| config.run_count = 9),
        (faults::COUNT, &|config| config.sibling_count = 33),
        (faults::KEY, &|config| config.signing_keys = &raw const odd_key),
        (faults::KEY, &|config| config.signing_keys = &raw const long_kid),
        (faults::LAYOUT, &|config| config.layout = 3),
        (faults::SLOT, &|config| config.layout = layouts::STAGED),
        (faults::GRANULE, &|config| config.beside = &raw const odd_granule),
        (faults::COUNT, &|config| config.beside = &raw const too_many_runs),
        (faults::OVERLAP, &|config| config.beside = &raw const at_the_same_place),
    ];
    for (fault, change) in faulty {
        let mut bench = Bench::new();
        change(&mut bench.config);
        let mut found = 99;
        // SAFETY: configuration and fault are whole.
        let code = unsafe { packstaff_config_check(&raw const bench.config, &raw mut found) };
        assert_eq!((code, found), (returns::CONFIG, fault));
        assert_eq!(bench.begin(INSTALLER_SIZE as u32), returns::CONFIG);
    }
    let (sound, mut found) = (config(), 99);
    // SAFETY: as above.
    let code = unsafe { packstaff_config_check(&raw const sound, &raw mut found) };
    assert_eq!((code, found), (returns::OK, faults::NONE));
}

#[test]
fn a_machine_may_be_moved_as_bytes() {
    let mut bench = Bench::begun();
    assert_eq!(bench.step(reply(replies::POWER_UP)), returns::OK);
    let request = bench.request;
    let mut moved = Bench::new();
    moved.storage.storage = bench.storage.storage;
    drop(bench);
    assert_eq!(moved.step(reply(replies::FAILED)), returns::OK);
    assert_ne!(moved.request.address, request.address);
}

/// FIPS 180-4's example "abc", and the same in pieces.
#[test]
fn the_digest_is_sha_256() {
    let mut digest = DigestStorage {
        storage: [0; DIGEST_SIZE],
    };
    let mut out = [0; 32];
    let at = &raw mut digest;
    // SAFETY: storage, bytes and place for the result are whole.
    unsafe {
        assert_eq!(packstaff_digest_add(at, b"a".as_ptr(), 1), returns::NOT_BEGUN);
        assert_eq!(packstaff_digest_begin(at, DIGEST_SIZE as u32), returns::OK);
        assert_eq!(packstaff_digest_add(at, b"ab".as_ptr(), 2), returns::OK);
        assert_eq!(packstaff_digest_add(at, null(), 0), returns::OK);
        assert_eq!(packstaff_digest_add(at, null(), 1), returns::NULL);
        assert_eq!(packstaff_digest_add(at, b"c".as_ptr(), 1), returns::OK);
        assert_eq!(packstaff_digest_add(at, at.cast(), 1), returns::OVERLAP);
        assert_eq!(packstaff_digest_end(at, &raw mut out), returns::OK);
        assert_eq!(packstaff_digest_end(at, &raw mut out), returns::NOT_BEGUN);
    }
    assert_eq!(out[..4], [0xba, 0x78, 0x16, 0xbf]);
    assert_eq!(out[28..], [0xf2, 0x00, 0x15, 0xad]);
    assert_eq!(out, packstaff_envelope::sha256(b"abc"));
}
