"""A stack for a target: which layers of which cloth, over what, come nearest to a colour.

Run it with: python swatches/examples/stack_for_a_target.py
"""

import weavecolor as wc

TARGET = wc.named_backing("#7d2029")  # the colour of a hat, read from a photograph


def main() -> None:
    """Look at every stack and rank them by how far they are from the target."""
    place = wc.named_scene("window at the side")
    wanted = wc.Stack((), TARGET)
    ranked = []
    for name in ("shot-organza-red-black", "shot-organza-teal-copper"):
        cloth = wc.load_cloth(name)
        for layers in (1, 2):
            for behind in ("white", "black"):
                stack = wc.laid(cloth, layers, "straight", behind)
                ranked.append((wc.difference(stack, wanted, place), name, layers, behind))
    for found, name, layers, behind in sorted(ranked, key=lambda row: row[0].delta):
        print(f"{found.delta:5.1f}  {layers} of {name} over {behind}: {found}")


if __name__ == "__main__":
    main()
