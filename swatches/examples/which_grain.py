"""Which grain: straight, cross or bias, over white and over black, and whether anyone would see it.

Run it with: python swatches/examples/which_grain.py
"""

import weavecolor as wc


def main() -> None:
    """Compare three grains over two backings, as a table and in sentences."""
    cloth = wc.load_cloth("shot-organza-teal-copper")
    made = wc.compare(cloth, grains=("straight", "cross", "bias"), behind=("white", "black"))
    table = made.to_frame()
    print(table[["grain", "backing", "L", "a", "b", "give_or_take", "words"]].round(1).to_string())
    for step in made.steps:
        if step.axis == "grain":
            print(step.sentence)


if __name__ == "__main__":
    main()
