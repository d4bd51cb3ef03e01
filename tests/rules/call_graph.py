"""Static call graph of a package: which functions, classes and methods no root reaches.

Names are resolved through imports, methods by their name alone: an attribute ``x.fit`` that runs reaches the methods
``fit`` of all classes that are reached. So a definition may be called reached although nothing calls it, but what is
called unreached is not called. A class that inherits from a class outside the package, or from one that registers its
heirs (`__init_subclass__`), is reached with its module: it may register itself.
"""

import ast
from collections import defaultdict
from dataclasses import dataclass, field

#: Bases outside the package that call no method of a class by themselves.
PLAIN_BASES = {"Exception", "Warning", "UserWarning", "Protocol", "NamedTuple", "Enum", "StrEnum", "Generic", "ABC"}

#: Decorators that hand a function on to nobody; any other has it as soon as the module is imported.
PLAIN_DECORATORS = {
    *("dataclass", "property", "cached_property", "staticmethod", "classmethod", "lru_cache", "cache"),
    *("contextmanager", "overload", "wraps", "setter", "abstractmethod", "runtime_checkable", "total_ordering"),
}


@dataclass
class Node:
    """Definition, or the code of a module that runs at its import, with what it refers to."""

    names: set = field(default_factory=set)
    attributes: set = field(default_factory=set)


@dataclass
class Class:
    """Methods and bases of a class."""

    methods: dict
    bases: list
    called_by_others: bool = False


class Graph:
    """Call graph of the modules of a package.

    Parameters
    ----------
    sources : dict of str to str
        Source code by dotted name of the module; a package by its own name.
    """

    def __init__(self, sources):
        self.nodes, self.classes, self.scopes = {}, {}, {}
        self.trees = {name: ast.parse(code) for name, code in sources.items()}
        self.public = []
        for module, tree in self.trees.items():
            scope = self._imports(module, tree, sources)
            scope |= {
                node.name: f"{module}:{node.name}"
                for node in tree.body
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
            }
            self.scopes[module] = scope
        for module, tree in self.trees.items():
            self._collect(module, tree)
        for name, known in self.classes.items():
            known.called_by_others = self._has_foreign_base(known, set())
            if known.called_by_others:
                self.nodes[f"{name.split(':')[0]}:"].names.add(name)

    def unreached(self, roots):
        """Return the public definitions that no root reaches, as ``module:name`` or ``module:Class.method``.

        Parameters
        ----------
        roots : iterable of str
            Modules (their whole content), definitions, or classes with all their public methods (``module:Class.*``).
        """
        done = self._reached(self._expanded(roots))
        return sorted(name for name in self.public if name not in done)

    def _expanded(self, roots):
        for root in roots:
            if root.endswith(".*"):
                yield from self._with_methods(root.removesuffix(".*"))
            elif ":" in root:
                yield root
            else:
                yield from (name for name in self.nodes if name.split(":")[0] == root)

    def _with_methods(self, name):
        """Return a class and its public methods, those of its bases as well."""
        yield name
        for base in self.classes[name].bases:
            if base in self.classes:
                yield from self._with_methods(base)
        yield from (own for short, own in self.classes[name].methods.items() if not short.startswith("_"))

    def _reached(self, roots):
        done, waiting, attributes = set(), list(roots), set()
        while waiting:
            name = waiting.pop()
            if name in done or name not in self.nodes:
                continue
            done.add(name)
            waiting.append(f"{name.split(':')[0]}:")
            waiting += self.nodes[name].names
            fresh = self.nodes[name].attributes - attributes
            attributes |= fresh
            for short in fresh:
                waiting += [own for own in self.by_method[short] if own.rsplit(".", 1)[0] in done]
            if name in self.classes:
                known = self.classes[name]
                waiting += [
                    own
                    for short, own in known.methods.items()
                    if short in attributes or short.startswith("__") or known.called_by_others
                ]
        return done

    def _imports(self, module, tree, sources):
        """Return what imported names stand for, in the whole module and in its functions."""
        package = module if any(other.startswith(f"{module}.") for other in sources) else module.rpartition(".")[0]
        scope = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    scope[alias.asname or alias.name.split(".")[0]] = alias.name if alias.asname else None
            elif isinstance(node, ast.ImportFrom):
                home = node.module or ""
                if node.level:
                    above = package.split(".")
                    home = ".".join([*above[: len(above) - node.level + 1], *([home] if home else [])])
                for alias in node.names:
                    whole = f"{home}.{alias.name}"
                    scope[alias.asname or alias.name] = whole if whole in sources else f"{home}:{alias.name}"
        return scope

    def _collect(self, module, tree):
        """Note the definitions of a module, and what runs at its import."""
        top = self.nodes[f"{module}:"] = Node()
        texts = self._texts(tree)
        for statement in tree.body:
            if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef):
                self._define(module, f"{module}:{statement.name}", statement, texts)
                self._note(top, module, [*statement.decorator_list, *self._defaults(statement)], texts)
                if self._is_handed_on(statement):
                    top.names.add(f"{module}:{statement.name}")
            elif isinstance(statement, ast.ClassDef):
                self._define_class(module, statement, texts)
            elif isinstance(statement, ast.Import | ast.ImportFrom):
                self._note_import(top, module, statement)
            elif not (isinstance(statement, ast.Assign) and "__all__" in {ast.unparse(t) for t in statement.targets}):
                self._note(top, module, [statement], texts)

    def _define_class(self, module, statement, texts):
        name = f"{module}:{statement.name}"
        node, methods = self._define(module, name, None, texts), {}
        for part in statement.body:
            if isinstance(part, ast.FunctionDef | ast.AsyncFunctionDef):
                methods[part.name] = f"{name}.{part.name}"
                self._define(module, methods[part.name], part, texts)
                node.names |= {methods[part.name]} if self._is_handed_on(part) else set()
            else:
                self._note(node, module, [part], texts)
        self._note(node, module, [*statement.bases, *statement.decorator_list], texts)
        bases = [self._resolve(module, base) or ast.unparse(base).split("[")[0] for base in statement.bases]
        self.classes[name] = Class(methods, bases)

    def _define(self, module, name, statement, texts):
        node = self.nodes[name] = Node()
        if not any(part.startswith("_") for part in name.split(":")[1].split(".")):
            self.public.append(name)
        if statement is not None:
            self._note(node, module, [statement], texts)
        return node

    def _note(self, node, module, parts, texts):
        """Note what code refers to."""
        for part in parts:
            for found in ast.walk(part):
                if isinstance(found, ast.Name) and isinstance(found.ctx, ast.Load):
                    target = self._origin(self.scopes[module].get(found.id))
                    node.names |= {target} if target else set()
                elif isinstance(found, ast.Attribute):
                    node.attributes.add(found.attr)
                    target = self._resolve(module, found)
                    node.names |= {target} if target else set()
                elif isinstance(found, ast.Import | ast.ImportFrom):
                    self._note_import(node, module, found)
                elif isinstance(found, ast.Call):
                    self._note_call(node, module, found, texts)

    def _note_call(self, node, module, call, texts):
        """Note what a call looks up by name: attributes, or the modules of a package that are all imported."""
        function = ast.unparse(call.func)
        if function == "getattr":
            node.attributes |= texts
        elif function == "pkgutil.iter_modules":
            package = self.scopes[module].get(ast.unparse(call.args[0]).removesuffix(".__path__"))
            node.names |= {f"{name}:" for name in self.trees if name.startswith(f"{package}.")}

    def _note_import(self, node, module, statement):
        """Note that a module is imported; its definitions are reached by name alone."""
        for alias in statement.names:
            target = self.scopes[module].get(alias.asname or alias.name.split(".")[0])
            if target:
                node.names.add(f"{target.split(':')[0]}:")

    def _resolve(self, module, part):
        """Return the definition that a name or dotted name means, or None."""
        dotted = ast.unparse(part).split("[")[0].split(".")
        target = self.scopes[module].get(dotted[0])
        for short in dotted[1:]:
            if target is None or ":" in target:
                return None
            deeper = f"{target}.{short}"
            target = deeper if deeper in self.trees else self.scopes.get(target, {}).get(short, f"{target}:{short}")
        return self._origin(target)

    def _origin(self, target):
        """Follow a name that a module has itself imported."""
        while target and ":" in target:
            module, _, short = target.partition(":")
            onward = self.scopes.get(module, {}).get(short)
            if onward in (None, target):
                break
            target = onward
        return target

    def _has_foreign_base(self, known, seen):
        for base in known.bases:
            origin = self._origin(base)
            if origin in self.classes:
                if "__init_subclass__" in self.classes[origin].methods:
                    return True
                if origin not in seen and self._has_foreign_base(self.classes[origin], seen | {origin}):
                    return True
            elif base.split(".")[-1].split(":")[-1] not in PLAIN_BASES:
                return True
        return False

    @property
    def by_method(self):
        """Return the methods of all classes by their short names."""
        if not hasattr(self, "_by_method"):
            self._by_method = defaultdict(list)
            for known in self.classes.values():
                for short, name in known.methods.items():
                    self._by_method[short].append(name)
        return self._by_method

    @staticmethod
    def _texts(tree):
        """Return the texts of a module that may name an attribute."""
        return {
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.isidentifier()
        }

    @staticmethod
    def _defaults(statement):
        return [part for part in [*statement.args.defaults, *statement.args.kw_defaults] if part is not None]

    @staticmethod
    def _is_handed_on(statement):
        """Return whether a decorator hands a function on."""
        names = [ast.unparse(part.func if isinstance(part, ast.Call) else part) for part in statement.decorator_list]
        return any(name.split(".")[-1] not in PLAIN_DECORATORS for name in names)
