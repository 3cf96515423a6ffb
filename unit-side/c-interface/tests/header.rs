//! `include/packstaff_installer.h` says the same as the library: sizes, offsets and constants, told to the compiler of C as
//! assertions; and it compiles without a warning, as C99, C11 and C++11, alone and beside the header for somebody's own loader.

use packstaff_c_interface::types::*;
use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn include() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("include")
}

/// Where the header for somebody's own loader lies.
fn loader_include() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../simulation/loader/include")
}

/// Compiles a text; what the compiler said.
fn compile(compiler: &str, package: &str, arguments: &[&str], text: &str) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("text.c");
    // Built together with the command line, the library has room for HSS-LMS signatures.
    let wide = packstaff_envelope::HEADER_MAX > packstaff_envelope::HEADER_MAX_NARROW;
    std::fs::write(&file, text).unwrap();
    Command::new(compiler)
        .args(arguments)
        .args(wide.then_some("-DPACKSTAFF_HSS_LMS"))
        .args(["-Wall", "-Wextra", "-Werror", "-pedantic", "-fsyntax-only", "-I"])
        .arg(include())
        .arg("-I")
        .arg(loader_include())
        .arg(&file)
        .output()
        .unwrap_or_else(|error| panic!("cannot run {compiler}: {error}; this test needs the Debian package {package}"))
}

const COMPILERS: [(&str, &str, &[&str]); 3] = [
    ("gcc", "gcc", &["-std=c99"]),
    ("gcc", "gcc", &["-std=c11"]),
    ("g++", "g++", &["-std=c++11", "-x", "c++"]),
];

fn must_compile(text: &str) {
    for (compiler, package, arguments) in COMPILERS {
        let said = compile(compiler, package, arguments, text);
        let errors = String::from_utf8_lossy(&said.stderr);
        assert!(said.status.success(), "{compiler} {arguments:?}:\n{errors}");
    }
}

/// An assertion that every C since 1989 knows: an array of -1 elements is an error.
fn assertion(text: &mut String, condition: &str) {
    let number = text.lines().count();
    writeln!(text, "typedef char holds_{number}[({condition}) ? 1 : -1];").unwrap();
}

macro_rules! structs {
    ($text:ident, $($name:literal $type:ident { $($field:ident)* })*) => {$(
        assertion($text, &format!("sizeof(struct packstaff_{}) == {}", $name, size_of::<$type>()));
        $(
            let at = std::mem::offset_of!($type, $field);
            assertion($text, &format!("offsetof(struct packstaff_{}, {}) == {at}", $name, stringify!($field)));
        )*
    )*};
}

fn layout(text: &mut String) {
    structs! { text,
        "range" Range { base size }
        "run" Run { count size }
        "memory" Memory { base granule run_count erased runs }
        "signing_key" SigningKey { algorithm kid_len kid key }
        "unit_key" UnitKey { kid_len kid key }
        "config" Config { vendor class_id extension erased granule flash_base run_count runs siblings signing_keys unit_key
            beside sibling_count signing_key_count layout slot second floors }
        "code" Code { number letter zero }
        "request" Request { kind address len code block data }
        "reply" Reply { kind row blocks data len }
        "progress" Progress { phase done total }
        "release" Release { issue version version_count image_size }
        "row" Row { release relation code name manifest }
        "installer" InstallerStorage { storage }
        "digest" DigestStorage { storage }
    }
}

/// Every number that the header defines, as the library has it.
fn numbers() -> Vec<(&'static str, i64)> {
    let of = |value: usize| value as i64;
    let mut all = vec![
        ("PACKSTAFF_SIGNING_KEYS_MAX", of(ANCHORS_MAX)),
        ("PACKSTAFF_RUNS_MAX", of(RUNS_MAX)),
        ("PACKSTAFF_SIBLINGS_MAX", of(SIBLINGS_MAX)),
        ("PACKSTAFF_STICK_BLOCK", of(packstaff_fat::BLOCK)),
        ("PACKSTAFF_INSTALLER_SIZE", of(INSTALLER_SIZE)),
        ("PACKSTAFF_WIDER", of(WIDER)),
        ("PACKSTAFF_DIGEST_SIZE", of(DIGEST_SIZE)),
        ("PACKSTAFF_STORAGE_ALIGN", of(STORAGE_ALIGN)),
        ("PACKSTAFF_ROWS", of(packstaff_installer::ROWS)),
        ("PACKSTAFF_NAME_LEN", of(NAME_LEN)),
        ("PACKSTAFF_NO_ROW", NO_ROW.into()),
        ("PACKSTAFF_KEY_ED25519", algorithms::ED25519.into()),
        ("PACKSTAFF_KEY_HSS_LMS", algorithms::HSS_LMS.into()),
        (
            "PACKSTAFF_LAYOUT_COUNT",
            of(packstaff_c_interface::layout::packstaff_layout.len()),
        ),
    ];
    let named: [(&str, u32); _] = [
        ("PACKSTAFF_OK", returns::OK),
        ("PACKSTAFF_NULL", returns::NULL),
        ("PACKSTAFF_MISALIGNED", returns::MISALIGNED),
        ("PACKSTAFF_TOO_SMALL", returns::TOO_SMALL),
        ("PACKSTAFF_NOT_BEGUN", returns::NOT_BEGUN),
        ("PACKSTAFF_BAD_CONFIG", returns::CONFIG),
        ("PACKSTAFF_BAD_REPLY", returns::REPLY),
        ("PACKSTAFF_OVERLAP", returns::OVERLAP),
        ("PACKSTAFF_NOTHING", returns::NOTHING),
        ("PACKSTAFF_FAULT_NONE", faults::NONE),
        ("PACKSTAFF_FAULT_GRANULE", faults::GRANULE),
        ("PACKSTAFF_FAULT_NO_KEY", faults::NO_ANCHOR),
        ("PACKSTAFF_FAULT_SLOT", faults::SLOT),
        ("PACKSTAFF_FAULT_DESCRIPTOR_SPLIT", faults::DESCRIPTOR_SPLIT),
        ("PACKSTAFF_FAULT_FLOOR_SECTOR", faults::FLOOR_SECTOR),
        ("PACKSTAFF_FAULT_OVERLAP", faults::OVERLAP),
        ("PACKSTAFF_FAULT_COUNT", faults::COUNT),
        ("PACKSTAFF_FAULT_KEY", faults::KEY),
        ("PACKSTAFF_FAULT_LAYOUT", faults::LAYOUT),
        ("PACKSTAFF_LAYOUT_SINGLE", layouts::SINGLE),
        ("PACKSTAFF_LAYOUT_STAGED", layouts::STAGED),
        ("PACKSTAFF_LAYOUT_PAIRED", layouts::PAIRED),
        ("PACKSTAFF_REQUEST_FIND_STICK", requests::FIND_STICK),
        ("PACKSTAFF_REQUEST_READ_STICK", requests::READ_STICK),
        ("PACKSTAFF_REQUEST_READ_FLASH", requests::READ_FLASH),
        ("PACKSTAFF_REQUEST_DIGEST_FLASH", requests::DIGEST_FLASH),
        ("PACKSTAFF_REQUEST_CHECK_BLANK", requests::CHECK_BLANK),
        ("PACKSTAFF_REQUEST_ERASE", requests::ERASE),
        ("PACKSTAFF_REQUEST_PROGRAM", requests::PROGRAM),
        ("PACKSTAFF_REQUEST_ASK", requests::ASK),
        ("PACKSTAFF_REQUEST_TELL", requests::TELL),
        ("PACKSTAFF_REQUEST_WAIT", requests::WAIT),
        ("PACKSTAFF_REQUEST_START", requests::START),
        ("PACKSTAFF_REPLY_POWER_UP", replies::POWER_UP),
        ("PACKSTAFF_REPLY_NO_STICK", replies::NO_STICK),
        ("PACKSTAFF_REPLY_STICK", replies::STICK),
        ("PACKSTAFF_REPLY_BLOCK", replies::BLOCK),
        ("PACKSTAFF_REPLY_FLASH", replies::FLASH),
        ("PACKSTAFF_REPLY_DIGEST", replies::DIGEST),
        ("PACKSTAFF_REPLY_BLANK", replies::BLANK),
        ("PACKSTAFF_REPLY_NOT_BLANK", replies::NOT_BLANK),
        ("PACKSTAFF_REPLY_CHOSEN", replies::CHOSEN),
        ("PACKSTAFF_REPLY_DONE", replies::DONE),
        ("PACKSTAFF_REPLY_FAILED", replies::FAILED),
        ("PACKSTAFF_PHASE_INSPECT", phases::INSPECT),
        ("PACKSTAFF_PHASE_SURVEY", phases::SURVEY),
        ("PACKSTAFF_PHASE_OWNER", phases::OWNER),
        ("PACKSTAFF_PHASE_CHECK", phases::CHECK),
        ("PACKSTAFF_PHASE_ERASE", phases::ERASE),
        ("PACKSTAFF_PHASE_PROGRAM", phases::PROGRAM),
        ("PACKSTAFF_PHASE_CONFIRM", phases::CONFIRM),
        ("PACKSTAFF_PHASE_START", phases::START),
        ("PACKSTAFF_RELATION_FIRST", relations::FIRST),
        ("PACKSTAFF_RELATION_NEWER", relations::NEWER),
        ("PACKSTAFF_RELATION_SIBLING", relations::SIBLING),
        ("PACKSTAFF_RELATION_INSTALLED", relations::INSTALLED),
        ("PACKSTAFF_RELATION_OLDER", relations::OLDER),
    ];
    all.extend(named.into_iter().map(|(name, value)| (name, i64::from(value))));
    all
}

#[test]
fn the_header_and_the_library_agree() {
    let mut text = "#include \"packstaff_installer.h\"\n".to_owned();
    layout(&mut text);
    for (name, value) in numbers() {
        assertion(&mut text, &format!("{name} == {value}"));
    }
    must_compile(&text);
}

/// An assertion that does not hold is noticed: the test above is not one that cannot fail.
#[test]
fn a_wrong_offset_is_noticed() {
    for (compiler, package, arguments) in COMPILERS {
        let mut text = "#include \"packstaff_installer.h\"\n".to_owned();
        assertion(&mut text, "offsetof(struct packstaff_reply, blocks) == 4");
        assert!(!compile(compiler, package, arguments, &text).status.success());
    }
}

/// Nothing that the header defines is left out above.
#[test]
fn every_number_of_the_header_is_compared() {
    let header = std::fs::read_to_string(include().join("packstaff_installer.h")).unwrap();
    let defined: BTreeSet<&str> = header
        .lines()
        .filter_map(|line| line.strip_prefix("#define "))
        .filter_map(|line| line.split_once(' '))
        .filter(|(name, value)| {
            !name.contains('(') && value.starts_with(|first: char| first.is_ascii_digit() || first == '(')
        })
        .map(|(name, _)| name)
        .collect();
    let compared: BTreeSet<&str> = numbers().into_iter().map(|(name, _)| name).collect();
    assert_eq!(defined, compared);
}

/// Beside the header for somebody's own loader, which wants C11 or C++11.
#[test]
fn both_headers_can_be_used_together() {
    let text = "#include \"packstaff_loader.h\"\n#include \"packstaff_installer.h\"\n";
    for (compiler, package, arguments) in &COMPILERS[1..] {
        let said = compile(compiler, package, arguments, text);
        assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    }
}
