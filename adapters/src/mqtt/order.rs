//! What a message says of an order.

use stencilward_domain::names::{OrderName, ProductName, StencilCode};
use stencilward_domain::signal::{OrderSpec, Said, Side};

use super::json::Json;
use super::payload::{Garbled, Text, clipped, name, optional_name, shortened};
use super::settings::Message;
use crate::link::Trouble;

/// Most stencils an order may list.
const MOST_STENCILS: usize = 64;

impl Message {
    pub(super) fn order(&self, text: &mut Text<'_>) -> Result<OrderSpec, Garbled> {
        let side = match text.optional(self.side.as_ref())?.as_deref() {
            None => None,
            Some("top") => Some(Side::Top),
            Some("bottom") => Some(Side::Bottom),
            Some(other) => {
                let other = shortened(other);
                return Err((Trouble::Senseless, format!("{other} is neither top nor bottom")));
            }
        };
        Ok(OrderSpec {
            order: self.order_name(text)?,
            product: optional_name(text.optional(self.product.as_ref())?, ProductName::new)?,
            side,
            revision: text.optional(self.revision.as_ref())?.map(|text| clipped(&text)),
            quantity: optional_number(text, self.boards.as_ref())?,
            panels_per_stroke: factor(text, self.panels_per_stroke.as_ref(), 1)?,
            strokes_per_panel: factor(text, self.strokes_per_panel.as_ref(), 1)?,
            setup_strokes: factor(text, self.setup_strokes.as_ref(), 0)?,
            stencils: stencils(text, self.stencils.as_ref())?,
        })
    }

    pub(super) fn order_finished(&self, text: &mut Text<'_>) -> Result<Said, Garbled> {
        let order = self.order_name(text)?;
        Ok(Said::OrderFinished { order, made: optional_number(text, self.made.as_ref())? })
    }

    fn order_name(&self, text: &mut Text<'_>) -> Result<OrderName, Garbled> {
        name(&text.word(self.order.as_deref())?, OrderName::new)
    }
}

fn optional_number(text: &mut Text<'_>, pointer: Option<&String>) -> Result<Option<u64>, Garbled> {
    match (text.optional(pointer)?, pointer) {
        (Some(_), Some(pointer)) => text.number(Some(pointer)).map(Some),
        _ => Ok(None),
    }
}

/// A number that strokes are reckoned with.
fn factor(
    text: &mut Text<'_>,
    pointer: Option<&String>,
    least: u32,
) -> Result<Option<u32>, Garbled> {
    let Some((number, pointer)) = optional_number(text, pointer)?.zip(pointer) else {
        return Ok(None);
    };
    let fitting = u32::try_from(number).ok().filter(|number| *number >= least);
    fitting.map(Some).ok_or_else(|| {
        (Trouble::Senseless, format!("{pointer} is {number}; {least} to {} makes sense", u32::MAX))
    })
}

/// The stencils an order allows: a list, or one text with spaces, commas or semicolons between.
fn stencils(text: &mut Text<'_>, pointer: Option<&String>) -> Result<Vec<StencilCode>, Garbled> {
    let Some(pointer) = pointer else {
        return Ok(Vec::new());
    };
    let codes: Vec<String> = match text.find(pointer)? {
        None => Vec::new(),
        Some(Json::List(items)) => {
            items.iter().map(|item| code(item, pointer)).collect::<Result<_, _>>()?
        }
        Some(other) => {
            let between = |c: char| c.is_whitespace() || c == ',' || c == ';';
            let codes = code(other, pointer)?;
            codes.split(between).filter(|code| !code.is_empty()).map(str::to_owned).collect()
        }
    };
    if codes.len() > MOST_STENCILS {
        let why = format!("{pointer} lists {} stencils; {MOST_STENCILS} are allowed", codes.len());
        return Err((Trouble::Senseless, why));
    }
    codes.iter().map(|code| name(code, StencilCode::new)).collect()
}

fn code(value: &Json<'_>, pointer: &str) -> Result<String, Garbled> {
    match value {
        Json::Text(text) => Ok(text.clone().into_owned()),
        Json::Number(number) => Ok(number.to_string()),
        _ => Err((Trouble::Unreadable, format!("{pointer} holds no stencil codes"))),
    }
}
