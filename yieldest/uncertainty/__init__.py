"""How sure a result is: doubt carried through the whole chain by quasi-random draws."""
