//! Lengths and densities that carry their unit in the type.

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $suffix:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(pub f32);
        impl $name {
            /// The bare number, in the unit the type is named after.
            pub const fn get(self) -> f32 {
                self.0
            }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!("{:.3} ", $suffix), self.0)
            }
        }
    };
}

unit!(
    /// Millimetres.
    Mm, "mm"
);
unit!(
    /// Millimetres covered by one texel or pixel.
    MmPerTexel, "mm per texel"
);
unit!(
    /// Threads in one centimetre.
    PerCm, "per cm"
);
unit!(
    /// Millimetres of cloth that one UV unit spans.
    MmPerUv, "mm per UV unit"
);
