//! Functions that are alike, side by side, and what is there twice once: it packs better, and is the same module.

use std::convert::Infallible;
use std::error::Error as Failure;
use wasm_encoder::reencode::{Error, Reencode, utils};
use wasm_encoder::{CodeSection, FunctionSection, Module};
use wasmparser::{CodeSectionReader, FunctionBody, FunctionSectionReader, Parser, Payload, TypeRef};

/// The module with its functions in the order of their bytes.
pub(crate) fn sorted(module: &[u8]) -> Result<Vec<u8>, Box<dyn Failure>> {
    let mut imported = 0;
    let (mut bodies, mut types) = (Vec::new(), Vec::new());
    for part in Parser::new(0).parse_all(module) {
        match part? {
            Payload::ImportSection(imports) => {
                for import in imports.into_imports() {
                    imported += usize::from(matches!(import?.ty, TypeRef::Func(_)));
                }
            }
            Payload::FunctionSection(section) => types = section.into_iter().collect::<Result<Vec<u32>, _>>()?,
            Payload::CodeSectionEntry(body) => bodies.push(body.as_bytes()),
            _ => {}
        }
    }
    let mut order: Vec<usize> = (0..bodies.len()).collect();
    order.sort_by_key(|n| (bodies[*n], types[*n]));
    let mut places: Vec<u32> = (0..u32::try_from(imported + order.len())?).collect();
    let mut kept: Vec<usize> = Vec::new();
    for n in order {
        // The same once more is the one before.
        if kept.last().is_none_or(|last| (bodies[*last], types[*last]) != (bodies[n], types[n])) {
            kept.push(n);
        }
        places[imported + n] = u32::try_from(imported + kept.len() - 1)?;
    }
    let mut sorted = Module::new();
    Sorted { order: kept, places }.parse_core_module(&mut sorted, Parser::new(0), module)?;
    Ok(sorted.finish())
}

/// The order of the functions that are not imported, and the new index of each function.
struct Sorted {
    order: Vec<usize>,
    places: Vec<u32>,
}

impl Reencode for Sorted {
    type Error = Infallible;

    fn function_index(&mut self, index: u32) -> Result<u32, Error<Infallible>> {
        Ok(self.places[index as usize])
    }

    fn parse_function_section(
        &mut self,
        functions: &mut FunctionSection,
        section: FunctionSectionReader<'_>,
    ) -> Result<(), Error<Infallible>> {
        let types = section.into_iter().collect::<Result<Vec<u32>, _>>()?;
        for n in self.order.clone() {
            functions.function(self.type_index(types[n])?);
        }
        Ok(())
    }

    fn parse_code_section(
        &mut self,
        code: &mut CodeSection,
        section: CodeSectionReader<'_>,
    ) -> Result<(), Error<Infallible>> {
        let bodies = section.into_iter().collect::<Result<Vec<FunctionBody<'_>>, _>>()?;
        for n in self.order.clone() {
            utils::parse_function_body(self, code, bodies[n].clone())?;
        }
        Ok(())
    }
}
