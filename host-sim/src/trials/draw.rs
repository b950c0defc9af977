//! One random value of a plan.

use std::hash::Hasher;

use fnv::FnvHasher;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde::Deserialize;
use toml::Value;

/// The generator behind all draws.
pub type Random = Xoshiro256PlusPlus;

/// The generator of one value: nothing else draws from it, so values do not depend on each other's order.
pub fn generator(plan_seed: u64, kind: &str, trial: u64, key: &str) -> Random {
    let mut hash = FnvHasher::default();
    hash.write(&plan_seed.to_le_bytes());
    hash.write(kind.as_bytes());
    // No byte of UTF-8 text is 255: where the name ends is beyond doubt.
    hash.write(&[0xff]);
    hash.write(&trial.to_le_bytes());
    hash.write(key.as_bytes());
    // The hash mixes little; SplitMix64, by which the generator takes its seed, mixes it well.
    Random::seed_from_u64(hash.finish())
}

/// How a value is drawn, as it stands in a plan.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
pub struct DrawFile {
    /// The key of the site file.
    pub key: String,
    uniform: Option<[f64; 2]>,
    log_uniform: Option<[f64; 2]>,
    normal: Option<[f64; 2]>,
    choice: Option<Vec<Value>>,
    constant: Option<Value>,
    times: Option<Keys>,
    plus: Option<Keys>,
    at_least: Option<f64>,
    at_most: Option<f64>,
}

/// One key or several.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
enum Keys {
    One(String),
    Several(Vec<String>),
}

impl Keys {
    fn list(keys: Option<Self>) -> Vec<String> {
        match keys {
            None => Vec::new(),
            Some(Self::One(key)) => vec![key],
            Some(Self::Several(keys)) => keys,
        }
    }
}

/// How a value is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    shape: Shape,
    times: Vec<String>,
    plus: Vec<String>,
    at_least: f64,
    at_most: f64,
}

#[derive(Debug, Clone, PartialEq)]
enum Shape {
    Uniform(f64, f64),
    LogUniform(f64, f64),
    Normal(f64, f64),
    Choice(Vec<Value>),
    Constant(Value),
}

impl Draw {
    /// A draw from its description.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn new(file: DrawFile) -> Result<Self, String> {
        let finite = |[a, b]: [f64; 2]| a.is_finite() && b.is_finite();
        let shapes = [
            file.uniform.map(|r| {
                check(
                    finite(r) && r[0] <= r[1],
                    Shape::Uniform(r[0], r[1]),
                    "uniform = [a, b] needs a <= b",
                )
            }),
            file.log_uniform.map(|r| {
                check(
                    finite(r) && 0.0 < r[0] && r[0] <= r[1],
                    Shape::LogUniform(r[0], r[1]),
                    "log_uniform = [a, b] needs 0 < a <= b",
                )
            }),
            file.normal.map(|r| {
                check(
                    finite(r) && r[1] >= 0.0,
                    Shape::Normal(r[0], r[1]),
                    "normal = [mean, sigma] needs sigma >= 0",
                )
            }),
            file.choice.map(|list| {
                check(!list.is_empty(), Shape::Choice(list), "choice needs at least one value")
            }),
            file.constant.map(|value| Ok(Shape::Constant(value))),
        ];
        let mut given = shapes.into_iter().flatten();
        let (Some(shape), None) = (given.next(), given.next()) else {
            return Err(
                "must have exactly one of uniform, log_uniform, normal, choice, constant".to_owned()
            );
        };
        let at_least = file.at_least.unwrap_or(f64::NEG_INFINITY);
        let at_most = file.at_most.unwrap_or(f64::INFINITY);
        if at_least.is_nan() || at_most.is_nan() || at_least > at_most {
            return Err("at_least must not be above at_most".to_owned());
        }
        Ok(Self {
            shape: shape?,
            times: Keys::list(file.times),
            plus: Keys::list(file.plus),
            at_least,
            at_most,
        })
    }

    /// Always the same value.
    pub fn constant(value: Value) -> Self {
        Self {
            shape: Shape::Constant(value),
            times: Vec::new(),
            plus: Vec::new(),
            at_least: f64::NEG_INFINITY,
            at_most: f64::INFINITY,
        }
    }

    /// The keys whose values this one is made of.
    pub fn needs(&self) -> impl Iterator<Item = &str> {
        self.times.iter().chain(&self.plus).map(String::as_str)
    }

    /// A value; `number` gives those of other keys.
    ///
    /// # Errors
    /// When a number is needed where there is none.
    pub fn value(
        &self,
        random: &mut Random,
        number: impl Fn(&str) -> Option<f64>,
    ) -> Result<Value, String> {
        let drawn = match &self.shape {
            Shape::Uniform(a, b) => Value::Float(a + (b - a) * random.random::<f64>()),
            Shape::LogUniform(a, b) => Value::Float(a * (b / a).powf(random.random())),
            Shape::Normal(mean, sigma) => {
                Value::Float(mean + sigma * random.sample::<f64, _>(StandardNormal))
            }
            Shape::Choice(list) => {
                let chosen = list.get(random.random_range(0..list.len()));
                chosen.cloned().ok_or("choice needs at least one value")?
            }
            Shape::Constant(value) => value.clone(),
        };
        let plain = self.needs().next().is_none()
            && self.at_least == f64::NEG_INFINITY
            && self.at_most == f64::INFINITY;
        if plain {
            return Ok(drawn);
        }
        let mut x = match drawn {
            Value::Float(x) => x,
            Value::Integer(n) => n as f64,
            other => {
                return Err(format!(
                    "{other} is no number, so times, plus, at_least and at_most cannot work"
                ));
            }
        };
        let other = |key: &String| {
            number(key).ok_or_else(|| format!("there is no number at `{key}`, which times or plus names"))
        };
        for key in &self.times {
            x *= other(key)?;
        }
        for key in &self.plus {
            x += other(key)?;
        }
        Ok(Value::Float(x.clamp(self.at_least, self.at_most)))
    }
}

fn check(holds: bool, shape: Shape, otherwise: &str) -> Result<Shape, String> {
    if holds { Ok(shape) } else { Err(otherwise.to_owned()) }
}
