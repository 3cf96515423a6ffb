//! Each program has a linker script of its own.

fn main() {
    let folder = std::env::var("CARGO_MANIFEST_DIR").unwrap_or_default();
    for (program, script) in [("qemu-mps2", "mps2.ld"), ("whole", "whole.ld")] {
        println!("cargo:rerun-if-changed={script}");
        println!("cargo:rustc-link-arg-bin={program}=-T{folder}/{script}");
    }
}
