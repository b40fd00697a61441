//! The table of channels: a new channel of an existing kind is one row here.

use crate::rule::Rule;

/// What sort of texel a channel holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Linear Rec.709 colour.
    Color,
    /// A scalar 0..1.
    Unit,
    /// Millimetres above the mid plane.
    Height,
    /// A tangent-space direction.
    Normal,
}

/// One row of the table.
#[derive(Clone, Copy, Debug)]
pub struct ChannelInfo {
    /// The name in files, on the command line and on screens.
    pub name: &'static str,
    /// What people read about it.
    pub doc: &'static str,
    /// What sort of texel it holds.
    pub kind: Kind,
    /// How a placement meets what lies beneath, unless told otherwise: what a real hole does.
    pub rule: Rule,
    /// Whether a garment has a texture for it (the others belong to patches alone).
    pub on_garment: bool,
}

macro_rules! channels {
    ($(#[doc = $doc:literal] $variant:ident, $name:literal, $kind:ident, $rule:ident, $on_garment:literal;)*) => {
        /// A map of a patch or of a garment.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Channel { $(#[doc = $doc] $variant,)* }

        impl Channel {
            /// Every channel, in the order people see them.
            pub const ALL: [Self; [$(Self::$variant),*].len()] = [$(Self::$variant),*];

            /// The row of the table.
            pub const fn info(self) -> ChannelInfo {
                match self {
                    $(Self::$variant => ChannelInfo {
                        name: $name, doc: $doc, kind: Kind::$kind, rule: Rule::$rule, on_garment: $on_garment,
                    },)*
                }
            }
        }
    };
}

channels! {
    /// where the patch lies
    Cover, "cover", Unit, Keep, false;
    /// colour of the cloth under even light
    BaseColor, "base_color", Color, Replace, true;
    /// millimetres above the mid plane of the cloth
    Height, "height", Height, Replace, true;
    /// direction the surface faces, from the height
    Normal, "normal", Normal, Replace, true;
    /// how dull the cloth is, 1 is fully matte
    Roughness, "roughness", Unit, Replace, true;
    /// how much the cloth behaves as metal
    Metallic, "metallic", Unit, Replace, true;
    /// how open each place is to the sky
    Occlusion, "occlusion", Unit, Replace, true;
    /// 1 cloth, 0 see-through
    Opacity, "opacity", Unit, Multiply, true;
    /// how much light from behind comes through the cloth itself
    Translucency, "translucency", Unit, Keep, false;
}

impl Channel {
    /// The name in files, on the command line and on screens.
    pub const fn name(self) -> &'static str {
        self.info().name
    }

    /// The channel of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|channel| channel.name() == name)
    }

    /// Place in [`Channel::ALL`].
    pub const fn index(self) -> usize {
        self as usize
    }
}

impl std::fmt::Display for Channel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// One value for each channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct PerChannel<T>([T; Channel::ALL.len()]);

impl<T> PerChannel<T> {
    /// From a function of the channel.
    pub fn from_fn(f: impl FnMut(Channel) -> T) -> Self {
        Self(Channel::ALL.map(f))
    }

    /// Channels with their values, in table order.
    pub fn iter(&self) -> impl Iterator<Item = (Channel, &T)> {
        Channel::ALL.into_iter().zip(&self.0)
    }
}

impl<T> std::ops::Index<Channel> for PerChannel<T> {
    type Output = T;
    fn index(&self, channel: Channel) -> &T {
        &self.0[channel.index()]
    }
}

impl<T> std::ops::IndexMut<Channel> for PerChannel<T> {
    fn index_mut(&mut self, channel: Channel) -> &mut T {
        &mut self.0[channel.index()]
    }
}

#[cfg(test)]
mod tests {
    use super::Channel;

    #[test]
    fn names_lead_back() {
        for channel in Channel::ALL {
            assert_eq!(Channel::from_name(channel.name()), Some(channel), "{channel}");
            assert_eq!(Channel::ALL[channel.index()], channel, "{channel}");
            assert!(channel.info().rule.fits(channel.info().kind), "{channel}: default rule does not fit");
        }
    }
}
