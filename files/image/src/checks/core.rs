//! The processor cores that we know how to check a start for.

use std::fmt;
use std::str::FromStr;

/// The Arm M-profile architecture, which decides what each system vector means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Architecture {
    /// Cortex-M0, M0+ and M1.
    V6M,
    /// Cortex-M3, M4 and M7.
    V7M,
    /// Cortex-M23: v8-M Baseline.
    V8MBaseline,
    /// Cortex-M33, M35P, M52, M55 and M85: v8-M Mainline.
    V8MMainline,
}

impl Architecture {
    /// The system exceptions that have a handler, as (exception number, name), reset left out.
    ///
    /// Source: ARMv6-M, ARMv7-M and Armv8-M Architecture Reference Manuals, exception number tables
    /// (from memory).
    #[must_use]
    pub fn system_exceptions(self) -> &'static [(u32, &'static str)] {
        match self {
            Architecture::V6M | Architecture::V8MBaseline => &[
                (2, "NMI"),
                (3, "HardFault"),
                (11, "SVCall"),
                (14, "PendSV"),
                (15, "SysTick"),
            ],
            Architecture::V7M => &[
                (2, "NMI"),
                (3, "HardFault"),
                (4, "MemManage"),
                (5, "BusFault"),
                (6, "UsageFault"),
                (11, "SVCall"),
                (12, "DebugMonitor"),
                (14, "PendSV"),
                (15, "SysTick"),
            ],
            Architecture::V8MMainline => &[
                (2, "NMI"),
                (3, "HardFault"),
                (4, "MemManage"),
                (5, "BusFault"),
                (6, "UsageFault"),
                (7, "SecureFault"),
                (11, "SVCall"),
                (12, "DebugMonitor"),
                (14, "PendSV"),
                (15, "SysTick"),
            ],
        }
    }
}

/// The processor core that an image is started on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Core {
    /// An Arm Cortex-M: the image begins with a vector table.
    CortexM {
        /// The architecture.
        architecture: Architecture,
        /// How many interrupt vectors the part has after the 16 system vectors: 0 to 480. Their
        /// entries in the table are checked too; with 0, none is.
        interrupts: u16,
    },
    /// A 32-bit RISC-V: the image begins with its first instruction.
    RiscV,
}

/// A core name that we do not know.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the core is \"{found}\", expected cortex-m0, m0+, m1, m3, m4, m7, m23, m33, m35p, m52, m55, \
     m85 (with \"cortex-\" in front), or riscv32"
)]
pub struct UnknownCore {
    /// The name.
    pub found: String,
}

impl FromStr for Core {
    type Err = UnknownCore;

    /// Knows a core by its usual name, such as `cortex-m4` or `riscv32`; letter case and a
    /// floating-point `f` at the end do not matter. The number of interrupts is the part's, not the
    /// core's, and is 0 here.
    fn from_str(name: &str) -> Result<Self, Self::Err> {
        let lower = name.to_ascii_lowercase();
        let architecture = match lower.strip_suffix('f').unwrap_or(&lower) {
            "riscv" | "riscv32" | "risc-v" => return Ok(Core::RiscV),
            "cortex-m0" | "cortex-m0+" | "cortex-m0plus" | "cortex-m1" => Architecture::V6M,
            "cortex-m3" | "cortex-m4" | "cortex-m7" => Architecture::V7M,
            "cortex-m23" => Architecture::V8MBaseline,
            "cortex-m33" | "cortex-m35p" | "cortex-m52" | "cortex-m55" | "cortex-m85" => Architecture::V8MMainline,
            _ => {
                return Err(UnknownCore { found: name.to_owned() });
            }
        };
        Ok(Core::CortexM {
            architecture,
            interrupts: 0,
        })
    }
}

impl fmt::Display for Core {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Core::CortexM { .. } => "Arm Cortex-M",
            Core::RiscV => "RISC-V",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cores_are_known_by_their_usual_names() {
        let v7m = Core::CortexM {
            architecture: Architecture::V7M,
            interrupts: 0,
        };
        assert_eq!("cortex-m4".parse(), Ok(v7m));
        assert_eq!("Cortex-M4F".parse(), Ok(v7m));
        assert_eq!("riscv32".parse(), Ok(Core::RiscV));
        let unknown = "cortex-a9".parse::<Core>().expect_err("not a microcontroller core");
        assert!(unknown.to_string().contains("\"cortex-a9\""));
    }
}
