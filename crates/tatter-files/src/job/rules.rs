//! Rules as people write them: `replace`, `replace:0.8`.

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::ChannelRule;
use tatter_core::rule::Rule;

use crate::text::nearest;

/// Why a rule could not be understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RuleFault {
    /// No rule has that name.
    #[error("`{name}` is not a rule; the nearest is `{nearest}`")]
    Unknown {
        /// As written.
        name: String,
        /// The closest rule.
        nearest: &'static str,
    },
    /// The rule means nothing for that channel.
    #[error("`{rule}` does not fit {channel}; these do: {}", fitting(*channel))]
    Unfit {
        /// The rule.
        rule: Rule,
        /// The channel.
        channel: Channel,
    },
    /// The strength is not a number in 0..1.
    #[error("the strength `{strength}` is not a number from 0 to 1")]
    Strength {
        /// As written.
        strength: String,
    },
    /// Cover says where a patch lies; no rule changes it.
    #[error("{channel} belongs to the patch and has no rule")]
    NotOnGarment {
        /// The channel.
        channel: Channel,
    },
}

impl Explain for RuleFault {
    fn next(&self) -> String {
        match self {
            Self::NotOnGarment { .. } => "leave it out".to_owned(),
            _ => "write a rule and, after a colon, a strength: replace:0.8".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

fn fitting(channel: Channel) -> String {
    let names: Vec<&str> = Rule::ALL.into_iter().filter(|rule| rule.fits(channel.info().kind)).map(Rule::name).collect();
    names.join(", ")
}

/// Understand `replace` or `replace:0.8` for a channel; without a strength it is 1.
///
/// # Errors
/// See [`RuleFault`].
pub fn parse_rule(channel: Channel, text: &str) -> Result<ChannelRule, RuleFault> {
    if !channel.info().on_garment {
        return Err(RuleFault::NotOnGarment { channel });
    }
    let (name, strength) = text.split_once(':').map_or((text, None), |(name, strength)| (name, Some(strength)));
    let name = name.trim();
    let rule = Rule::from_name(name)
        .ok_or_else(|| RuleFault::Unknown { name: name.to_owned(), nearest: nearest(name, &Rule::ALL.map(Rule::name)) })?;
    if !rule.fits(channel.info().kind) {
        return Err(RuleFault::Unfit { rule, channel });
    }
    let strength = strength.map_or(Ok(1.0), |given| {
        let number = given.trim().parse::<f32>().ok().filter(|number| (0.0..=1.0).contains(number));
        number.ok_or_else(|| RuleFault::Strength { strength: given.trim().to_owned() })
    })?;
    Ok(ChannelRule { rule, strength })
}

/// A rule as [`parse_rule`] understands it; full strength is left out.
pub fn rule_text(rule: ChannelRule) -> String {
    if rule.strength.to_bits() == 1.0f32.to_bits() { rule.rule.to_string() } else { format!("{}:{}", rule.rule, rule.strength) }
}
