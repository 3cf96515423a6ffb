//! Outside: where GCC for Arm puts the members of generated structs.
//!
//! Each struct is written twice, as C and as a layout file without offsets. GCC says where its members lie in two ways: in its debug
//! information, which is imported, and by `_Static_assert` on our offsets with its own `offsetof` and `sizeof`, without which the
//! C would not compile.

mod common;

use common::{Numbers, run};
use packstaff_settings::dwarf;
use packstaff_settings::layout::{Group, Layout, Shape};
use std::fmt::Write;
use std::process::Command;

const STRUCTS: usize = 64;

const TYPES: [(&str, &str); 10] = [
    ("u8", "uint8_t"),
    ("u16", "uint16_t"),
    ("u32", "uint32_t"),
    ("u64", "uint64_t"),
    ("i8", "int8_t"),
    ("i16", "int16_t"),
    ("i32", "int32_t"),
    ("i64", "int64_t"),
    ("f32", "float"),
    ("f64", "double"),
];

/// A struct in both languages.
#[derive(Default)]
struct Both {
    c: String,
    toml_fields: String,
    toml_groups: String,
}

/// Members of a struct: C on one side, `[[field]]` or `[[group.field]]` on the other.
fn members(numbers: &mut Numbers, both: &mut Both, name: &str, heading: &str, depth: u32) -> (String, String) {
    let (mut c, mut toml) = (String::new(), String::new());
    for index in 0..1 + numbers.below(7) {
        let member = format!("m{index}");
        let count = (numbers.below(4) == 0).then(|| 1 + numbers.below(5));
        let brackets = count.map_or_else(String::new, |count| format!("[{count}]"));
        let (c_line, toml_type) = match numbers.below(if depth < 3 { 13 } else { 11 }) {
            10 => {
                let length = 1 + numbers.below(20);
                let c = format!("    char {member}{brackets}[{length}];\n");
                (c, format!("type = \"text\"\nlength = {length}"))
            }
            11 | 12 => {
                let inner = format!("{name}_{member}");
                let (inner_c, inner_toml) = members(numbers, both, &inner, "[[group.field]]", depth + 1);
                let packed = numbers.below(5) == 0;
                let attribute = if packed { " __attribute__((packed))" } else { "" };
                let _ = writeln!(both.c, "struct{attribute} {inner} {{\n{inner_c}}};");
                let _ = writeln!(
                    both.toml_groups,
                    "\n[[group]]\nname = \"{inner}\"\npacked = {packed}\n{inner_toml}"
                );
                (
                    format!("    struct {inner} {member}{brackets};\n"),
                    format!("type = \"{inner}\""),
                )
            }
            which => {
                let (ours, theirs) = TYPES[usize::try_from(which).unwrap()];
                (
                    format!("    {theirs} {member}{brackets};\n"),
                    format!("type = \"{ours}\""),
                )
            }
        };
        c.push_str(&c_line);
        let count = count.map_or_else(String::new, |count| format!("\ncount = {count}"));
        let _ = writeln!(toml, "\n{heading}\nname = \"{member}\"\n{toml_type}{count}");
    }
    (c, toml)
}

fn generate(numbers: &mut Numbers, index: usize) -> (String, Layout) {
    let mut both = Both::default();
    let name = format!("s{index}");
    let packed = numbers.below(8) == 0;
    let (c, fields) = members(numbers, &mut both, &name, "[[field]]", 0);
    both.toml_fields = fields;
    let attribute = if packed { " __attribute__((packed))" } else { "" };
    let _ = writeln!(both.c, "struct{attribute} {name} {{\n{c}}};");
    let file = format!(
        "format = 1\nversion = \"1.0\"\nnumber = {index}\nname = \"{name}\"\npacked = {packed}\n\n[memory]\ncopies = [0]\n{}{}",
        both.toml_fields, both.toml_groups
    );
    let layout = Layout::from_text(&name, &file).unwrap_or_else(|error| panic!("{error}\n{file}"));
    (both.c, layout)
}

fn asserts(group: &Group, out: &mut String) {
    let name = &group.name;
    let _ = writeln!(
        out,
        "_Static_assert(sizeof(struct {name}) == {}, \"size of {name}\");",
        group.size
    );
    let _ = writeln!(
        out,
        "_Static_assert(_Alignof(struct {name}) == {}, \"alignment of {name}\");",
        group.align
    );
    for field in &group.fields {
        let member = &field.name;
        let _ = writeln!(
            out,
            "_Static_assert(offsetof(struct {name}, {member}) == {}, \"{name}.{member}\");",
            field.at
        );
        if let Shape::Group(inner) = &field.shape {
            asserts(inner, out);
        }
    }
}

fn compile(folder: &std::path::Path, c: &str, flags: &[&str]) -> Vec<u8> {
    let source = folder.join("structs.c");
    let elf = folder.join("structs.elf");
    std::fs::write(&source, c).unwrap();
    let mut gcc = Command::new("arm-none-eabi-gcc");
    gcc.args([
        "-mcpu=cortex-m4",
        "-mthumb",
        "-std=gnu11",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-Wno-packed-not-aligned",
    ])
    .args(["-ffreestanding", "-nostdlib", "-Wl,--entry=0"])
    .args(flags)
    .arg(&source)
    .arg("-o")
    .arg(&elf);
    run("gcc-arm-none-eabi", &mut gcc);
    std::fs::read(elf).unwrap()
}

const HEAD: &str = "#include <stddef.h>\n#include <stdint.h>\n#include <stdbool.h>\n";

#[test]
fn offsets_are_those_that_gcc_gives() {
    let folder = tempfile::tempdir().unwrap();
    let mut numbers = Numbers(0x5eed_0001_dead_beef);
    let mut c = HEAD.to_owned();
    let mut layouts = Vec::new();
    for index in 0..STRUCTS {
        let (source, layout) = generate(&mut numbers, index);
        c.push_str(&source);
        asserts(&layout.record, &mut c);
        let _ = writeln!(c, "struct s{index} kept{index} __attribute__((used));");
        layouts.push(layout);
    }
    // The asserts hold with either version of DWARF; and the debug information must say the same.
    for flags in [&["-gdwarf-4"], &["-gdwarf-5"]] {
        let elf = compile(folder.path(), &c, flags);
        for layout in &layouts {
            let name = &layout.record.name;
            let imported = dwarf::import(&elf, name).unwrap_or_else(|error| panic!("{name}: {error}"));
            assert_eq!(bones(&imported.record), bones(&layout.record), "{name} {flags:?}");
            let variable = name.replace('s', "kept");
            let by_variable = dwarf::import(&elf, &variable).unwrap_or_else(|error| panic!("{variable}: {error}"));
            assert_eq!(by_variable.record.fields, imported.record.fields);
        }
    }
    // A check that could not fail would prove nothing: one offset that is off by one must not compile.
    let wrong =
        format!("{HEAD}struct w {{ uint8_t a; uint32_t b; }};\n_Static_assert(offsetof(struct w, b) == 1, \"b\");\n");
    let source = folder.path().join("wrong.c");
    std::fs::write(&source, wrong).unwrap();
    let output = Command::new("arm-none-eabi-gcc")
        .args(["-c", "-o", "/dev/null"])
        .arg(&source)
        .output()
        .unwrap();
    assert!(!output.status.success());
}

/// Everything but alignments: debug information does not say that a struct is packed whose members happen to be aligned anyway.
fn bones(group: &Group) -> Vec<String> {
    let mut lines = vec![format!("{} {}", group.name, group.size)];
    for field in &group.fields {
        let shape = match &field.shape {
            Shape::Number(number) => number.repr.to_string(),
            Shape::Text { length, .. } => format!("text {length}"),
            Shape::Bytes { length, .. } => format!("bytes {length}"),
            Shape::Group(group) => group.name.clone(),
        };
        lines.push(format!("{} {} {shape} {:?}", field.at, field.name, field.count));
        if let Shape::Group(inner) = &field.shape {
            lines.extend(bones(inner));
        }
    }
    lines
}

#[test]
fn what_c_can_say_beside_plain_members() {
    let c = format!(
        "{HEAD}{}",
        r"
enum mode { MODE_OFF, MODE_ON = 5, MODE_AUTO = 9 };
enum __attribute__((packed)) small { SMALL_MINUS = -1, SMALL_PLUS = 1 };
typedef struct { int16_t x, y; } point;
union either { uint32_t word; uint8_t bytes[4]; };
struct oddities {
    enum mode mode;
    enum small small;
    bool lit;
    char letter;
    point corners[2];
    struct { uint8_t a; uint16_t b; };
    union either either;
    union { uint16_t u; int16_t i; };
    uint16_t grid[3][4];
    char labels[2][8];
    const volatile uint32_t fixed;
};
struct oddities oddities __attribute__((used)) = { .fixed = 1 };
struct with_pointer { void *p; } with_pointer __attribute__((used));
struct with_bits { unsigned a : 3; } with_bits __attribute__((used));
"
    );
    let folder = tempfile::tempdir().unwrap();
    let elf = compile(folder.path(), &c, &["-g"]);
    let imported = dwarf::import(&elf, "oddities").unwrap_or_else(|error| panic!("{error}"));
    let shown: Vec<String> = bones(&imported.record)
        .into_iter()
        .filter(|line| line.split(' ').count() == 4 || line.contains(" text ") || line.contains(" bytes "))
        .collect();
    assert_eq!(
        shown,
        [
            // AAPCS32, 8.1.3: an enum that has no negative value fits an unsigned type; GCC for bare metal takes the smallest.
            "0 mode u8 None",
            "1 small i8 None",
            "2 lit u8 None",
            "3 letter u8 None",
            "4 corners point Some(2)",
            "0 x i16 None",
            "2 y i16 None",
            "12 a u8 None",
            "14 b u16 None",
            "16 either bytes 4 None",
            "20 union_at_20 bytes 2 None",
            "22 grid u16 Some(12)",
            "46 labels text 8 Some(2)",
            "64 fixed u32 None",
        ]
    );
    assert_eq!(imported.notes.len(), 3, "{:?}", imported.notes);
    let refused = |name: &str| dwarf::import(&elf, name).unwrap_err().to_string();
    assert!(
        refused("with_pointer").contains("member p is a pointer"),
        "{}",
        refused("with_pointer")
    );
    assert!(
        refused("with_bits").contains("member a is a bit-field"),
        "{}",
        refused("with_bits")
    );
    assert!(
        refused("odities").contains("Did you mean \"oddities\"?"),
        "{}",
        refused("odities")
    );
    assert!(
        refused("mode").contains("nothing in the debug information"),
        "{}",
        refused("mode")
    );
    let stripped = compile(folder.path(), &c, &[]);
    assert!(
        dwarf::import(&stripped, "oddities")
            .unwrap_err()
            .to_string()
            .contains("Build with -g")
    );
    assert!(
        dwarf::import(b"no ELF file", "oddities")
            .unwrap_err()
            .to_string()
            .contains("not a readable ELF")
    );
}
