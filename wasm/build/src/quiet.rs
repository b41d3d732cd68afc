//! A panic ends the module with a trap, and nobody hears what it says: a page has no standard error. So what it would say is taken
//! out of the finished module; stable Rust has no way to leave it out.

use std::collections::HashSet;
use walrus::ir::{
    Const, Instr, InstrLocId, InstrSeq, Load, LocalGet, Store, Unreachable, Value, Visitor, VisitorMut, dfs_in_order,
    dfs_pre_order_mut,
};
use walrus::{ConstExpr, DataId, DataKind, FunctionId, LocalId, Module, ValType};

/// The standard library's functions that do nothing but panic, by what is in their mangled names.
const PANICS: [&str; 12] = [
    "4core9panicking",
    "4core4cell22panic_already_borrowed",
    "4core4cell30panic_already_mutably_borrowed",
    "4core6option13expect_failed",
    "4core6option13unwrap_failed",
    "4core6result13unwrap_failed",
    "4core3str16slice_error_fail",
    "4core5slice5index16slice_index_fail",
    "17len_mismatch_fail",
    "13assert_failed",
    "5alloc7raw_vec12handle_error",
    "5alloc7raw_vec17capacity_overflow",
];

/// Makes every panic the trap that it ends in. The module must still have its functions' names.
pub(crate) fn quieten(module: &mut Module) {
    let panics = |name: &str| PANICS.iter().any(|panic| name.contains(panic));
    let named = |name: &Option<String>| name.as_deref().is_some_and(panics);
    let mut traps = Traps(module.funcs.iter().filter(|f| named(&f.name)).map(|f| f.id()).collect());
    for (_, function) in module.funcs.iter_local_mut() {
        let start = function.entry_block();
        dfs_pre_order_mut(&mut traps, function, start);
    }
    while forget_what_nobody_reads(module) {}
    walrus::passes::gc::run(module);
    clear_places(module);
}

/// Puts a trap where one of these functions is called and does not return.
struct Traps(HashSet<FunctionId>);

impl VisitorMut for Traps {
    fn start_instr_seq_mut(&mut self, sequence: &mut InstrSeq) {
        let code = &mut sequence.instrs;
        let ends = code.windows(2).position(|two| match (&two[0].0, &two[1].0) {
            (Instr::Call(call), Instr::Unreachable(_)) => self.0.contains(&call.func),
            _ => false,
        });
        if let Some(at) = ends {
            // With it goes what only made the message: behind it nothing is read any more.
            let from = code[..at].iter().rposition(|(instr, _)| !only_prepares(instr)).map_or(0, |last| last + 1);
            code.truncate(from);
            code.push((Unreachable {}.into(), InstrLocId::default()));
        }
    }
}

/// What has no effect but on memory, locals and globals.
fn only_prepares(instr: &Instr) -> bool {
    use Instr as I;
    matches!(
        instr,
        I::Const(_)
            | I::LocalGet(_)
            | I::LocalSet(_)
            | I::LocalTee(_)
            | I::GlobalGet(_)
            | I::GlobalSet(_)
            | I::Binop(_)
            | I::Unop(_)
            | I::Load(_)
            | I::Store(_)
            | I::Drop(_)
            | I::Select(_)
    )
}

/// What could have panicked was told, last, at which place it was called. Where it reads that no more, it is told 0; whether there
/// was any such call.
fn forget_what_nobody_reads(module: &mut Module) -> bool {
    let mut forgetful = Forgetful::default();
    for (id, function) in module.funcs.iter_local() {
        let mut read = Read::default();
        dfs_in_order(&mut read, function, function.entry_block());
        let last = function.args.last().filter(|last| module.locals.get(**last).ty() == ValType::I32);
        if last.is_some_and(|last| !read.0.contains(last)) {
            forgetful.functions.insert(id);
        }
    }
    for (_, function) in module.funcs.iter_local_mut() {
        let start = function.entry_block();
        dfs_pre_order_mut(&mut forgetful, function, start);
    }
    forgetful.changed
}

/// The locals whose values are used.
#[derive(Default)]
struct Read(HashSet<LocalId>);

impl Visitor<'_> for Read {
    fn visit_local_get(&mut self, instr: &LocalGet) {
        self.0.insert(instr.local);
    }
}

/// Functions that do not read their last argument, a word.
#[derive(Default)]
struct Forgetful {
    functions: HashSet<FunctionId>,
    changed: bool,
}

impl VisitorMut for Forgetful {
    fn start_instr_seq_mut(&mut self, sequence: &mut InstrSeq) {
        for n in 1..sequence.instrs.len() {
            let [(last, _), (call, _)] = &mut sequence.instrs[n - 1..=n] else { continue };
            let told = matches!(last, Instr::LocalGet(_) | Instr::Const(Const { value: Value::I32(1..) }));
            if told && matches!(call, Instr::Call(call) if self.functions.contains(&call.func)) {
                *last = Const { value: Value::I32(0) }.into();
                self.changed = true;
            }
        }
    }
}

/// Where in the sources each panic stood: the file's name, as address and length, then line and column, four words in all. Places
/// that nothing speaks of any more become zeros, which pack to nothing; so do the names that only they spoke of.
fn clear_places(module: &mut Module) {
    let mut spoken = Numbers::default();
    for (_, function) in module.funcs.iter_local() {
        dfs_in_order(&mut spoken, function, function.entry_block());
    }
    let segments: Vec<DataId> = module.data.iter().map(walrus::Data::id).collect();
    for id in segments {
        let data = module.data.get_mut(id);
        let DataKind::Active { offset: ConstExpr::Value(Value::I32(base)), .. } = data.kind else { continue };
        let base = i64::from(base.cast_unsigned());
        let bytes = &mut data.value;
        let before: HashSet<i64> = words(bytes).collect();
        let mut names = Vec::new();
        for at in (0..bytes.len()).step_by(4) {
            let place: Vec<i64> = words(&bytes[at..]).take(4).collect();
            let [name, length, line, column] = place[..] else { break };
            let from = usize::try_from(name - base).ok();
            let text = from.and_then(|from| bytes.get(from..from + usize::try_from(length).ok()?));
            let address = base + i64::try_from(at).unwrap_or(i64::MAX);
            let is_place = text.is_some_and(|text| text.ends_with(b".rs")) && line > 0 && column > 0;
            if is_place && !spoken.0.contains(&address) && !before.contains(&address) {
                bytes[at..at + 16].fill(0);
                names.extend(from.map(|from| (name, from, length)));
            }
        }
        let after: HashSet<i64> = words(bytes).collect();
        for (name, from, length) in names {
            if !spoken.0.contains(&name) && !after.contains(&name) {
                bytes[from..][..usize::try_from(length).unwrap_or(0)].fill(0);
            }
        }
    }
}

fn words(bytes: &[u8]) -> impl Iterator<Item = i64> {
    bytes.chunks_exact(4).map(|four| u32::from_le_bytes([four[0], four[1], four[2], four[3]]).into())
}

/// Every number in the code that may be an address: constants, two of them in one of 64 bits, and offsets.
#[derive(Default)]
struct Numbers(HashSet<i64>);

impl Visitor<'_> for Numbers {
    fn visit_const(&mut self, instr: &Const) {
        match instr.value {
            Value::I32(n) => self.0.extend([i64::from(n.cast_unsigned())]),
            Value::I64(n) => self.0.extend([n & 0xFFFF_FFFF, n >> 32 & 0xFFFF_FFFF]),
            _ => {}
        }
    }

    fn visit_load(&mut self, instr: &Load) {
        self.0.extend(i64::try_from(instr.arg.offset));
    }

    fn visit_store(&mut self, instr: &Store) {
        self.0.extend(i64::try_from(instr.arg.offset));
    }
}
