//! The loader's module: looked at, compiled, and ready to be powered up any number of times.

use crate::calls::{BOOT, Call, MEMORY, MODULE};
use crate::fault::LoaderFault;
use crate::held::{Held, Host};
use crate::imports;
use packstaff_installer::Region;
use wasmtime::{Config, Engine, ExternType, FuncType, InstancePre, Linker, Module, ValType};

/// What a loader may use up. The defaults suit a loader of a few kilobytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Bytes of memory.
    pub memory: usize,
    /// Instructions between two calls.
    pub instructions: u64,
    /// Calls after one power-up.
    pub calls: u32,
    /// Nodes of the exploration: see [`Plan::nodes_max`](packstaff_rehearsal::explore::Plan::nodes_max).
    pub nodes: usize,
    /// End at the first claim that does not hold, instead of looking for every one: a bad loader may pass through far more worlds
    /// than a good one.
    pub stop_at_first: bool,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            memory: 1 << 20,
            instructions: 1 << 30,
            calls: 10_000,
            nodes: 1 << 20,
            stop_at_first: true,
        }
    }
}

/// A loader that can be powered up. It reaches nothing but its own memory and the calls of a unit.
#[derive(Clone)]
pub struct Sandbox {
    ready: InstancePre<Host>,
    limits: Limits,
    part: Region,
}

/// Bytes of native stack for one loader; C's own stack is in the loader's memory.
const STACK: usize = 128 << 10;

impl Sandbox {
    /// Compiles a module, for units whose flash is `part`.
    ///
    /// # Errors
    /// Why it is none that a unit could run.
    pub fn new(module: &[u8], limits: Limits, part: Region) -> Result<Self, LoaderFault> {
        let not = |error: wasmtime::Error| LoaderFault::NotWebAssembly {
            why: format!("{error:#}"),
        };
        if !module.starts_with(b"\0asm") {
            let why = format!(
                "the file does not begin with the four bytes that modules begin with, but with {}",
                first(module)
            );
            return Err(LoaderFault::NotWebAssembly { why });
        }
        let engine = Engine::new(&config()).map_err(not)?;
        let module = Module::from_binary(&engine, module).map_err(not)?;
        check(&module, limits)?;
        let mut linker = Linker::new(&engine);
        imports::provide(&mut linker).map_err(not)?;
        let ready = linker.instantiate_pre(&module).map_err(not)?;
        Ok(Self { ready, limits, part })
    }

    /// The limits.
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// The loader with power just come on; it has not begun to run.
    pub(crate) fn power_up(&self) -> Held {
        Held::new(self.ready.clone(), self.limits, self.part)
    }
}

/// Small memories without guard pages, so that thousands of loaders can be held at once; and the same results on every host.
fn config() -> Config {
    let mut config = Config::new();
    config
        .consume_fuel(true)
        .max_wasm_stack(STACK / 2)
        .async_stack_size(STACK)
        .memory_reservation(0)
        .memory_reservation_for_growth(0)
        .memory_guard_size(0)
        .memory_init_cow(false)
        .cranelift_nan_canonicalization(true)
        .wasm_simd(false)
        .wasm_relaxed_simd(false)
        .wasm_memory64(false)
        .wasm_multi_memory(false);
    config
}

fn first(module: &[u8]) -> String {
    if module.is_empty() {
        return "nothing: it is empty".to_owned();
    }
    let bytes: Vec<_> = module.iter().take(4).map(|byte| format!("{byte:02x}")).collect();
    bytes.join(" ")
}

/// Whether the module asks for nothing but what a unit provides, and has what power-up needs.
fn check(module: &Module, limits: Limits) -> Result<(), LoaderFault> {
    for import in module.imports() {
        let unknown = || LoaderFault::UnknownCall {
            module: import.module().to_owned(),
            name: import.name().to_owned(),
        };
        if import.module() != MODULE {
            return Err(unknown());
        }
        let numbers = |count| vec!["i32".to_owned(); count];
        let call = Call::named(import.name()).ok_or_else(unknown)?;
        let found = import.ty();
        if !matches!(&found, ExternType::Func(found) if fits(found, call)) {
            return Err(LoaderFault::OtherCall {
                name: call.name.to_owned(),
                found: words(&found),
                expected: signature(numbers(call.takes), numbers(call.gives)),
            });
        }
    }
    match module.get_export(BOOT) {
        Some(ExternType::Func(boot)) if boot.params().len() == 0 && boot.results().len() == 0 => {}
        found => {
            return Err(LoaderFault::NoBoot {
                found: found.as_ref().map(words),
            });
        }
    }
    let Some(ExternType::Memory(memory)) = module.get_export(MEMORY) else {
        return Err(LoaderFault::NoMemory);
    };
    let asked = memory.minimum().saturating_mul(memory.page_size());
    if asked > limits.memory as u64 {
        return Err(LoaderFault::TooMuchMemory {
            asked,
            allowed: limits.memory,
        });
    }
    Ok(())
}

fn fits(found: &FuncType, call: Call) -> bool {
    let numbers = found.params().chain(found.results()).all(|kind| kind.is_i32());
    numbers && found.params().len() == call.takes && found.results().len() == call.gives
}

fn words(found: &ExternType) -> String {
    match found {
        ExternType::Func(found) => {
            let names = |kinds: &mut dyn Iterator<Item = ValType>| kinds.map(|kind| kind.to_string()).collect();
            signature(names(&mut found.params()), names(&mut found.results()))
        }
        ExternType::Memory(_) => "a memory".to_owned(),
        ExternType::Global(_) => "a variable".to_owned(),
        ExternType::Table(_) => "a table".to_owned(),
        ExternType::Tag(_) => "an exception".to_owned(),
    }
}

fn signature(takes: Vec<String>, gives: Vec<String>) -> String {
    format!("a function ({}) -> ({})", takes.join(", "), gives.join(", "))
}
