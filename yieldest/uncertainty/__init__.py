"""How sure a result is: uncertainty carried through the whole chain by quasi-random draws."""
