"""``reefscan recipe``: a recipe to change, with a comment on every line."""

from __future__ import annotations

import sys

from reefscan.cli.options import Depth, RecipeFile, Top, make_recipe


def command(recipe: RecipeFile = None, depth: Depth = None, top: Top = None) -> None:
    """Print a recipe: the default one, or yours completed with the defaults.

    Save it, change it, and give it to scan or rescore: reefscan recipe > my.toml
    """
    from reefscan.base.recipe import dump_recipe

    sys.stdout.write(dump_recipe(make_recipe(recipe, depth, top)))
