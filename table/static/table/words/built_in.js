export default [
{
"key": "strength",
"label": "Strength",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"intensity",
"concentration",
"浓度",
"nong du"
]
},
{
"key": "liking",
"label": "Liking",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"overall liking",
"how much it pleases"
]
},
{
"key": "body",
"label": "Body",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"fullness",
"mouth fullness",
"厚度",
"hou du"
]
},
{
"key": "sweetness",
"label": "Sweetness",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"sweet",
"甜",
"tian",
"甘甜",
"gan tian"
]
},
{
"key": "bitterness",
"label": "Bitterness",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"bitter",
"苦",
"ku"
]
},
{
"key": "astringency",
"label": "Astringency",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"astringent",
"puckering",
"涩",
"se",
"tannic",
"tannin",
"收敛",
"shou lian"
]
},
{
"key": "savouriness",
"label": "Savouriness",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"savoury",
"umami",
"鲜",
"xian",
"savory"
]
},
{
"key": "aroma",
"label": "Aroma",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"aroma strength",
"fragrance",
"香气",
"xiang qi"
]
},
{
"key": "finish",
"label": "Finish",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"aftertaste",
"length",
"余味",
"yu wei",
"尾韵",
"wei yun"
]
},
{
"key": "minerality",
"label": "Minerality",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"mineral",
"mineral taste"
]
},
{
"key": "roast",
"label": "Roast",
"family": "structure",
"rated_each_infusion": true,
"synonyms": [
"roasted",
"roast taste",
"焙火",
"bei huo"
]
},
{
"key": "sourness",
"label": "Sourness",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"sour",
"acidity",
"酸",
"suan"
]
},
{
"key": "saltiness",
"label": "Saltiness",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"salty",
"咸"
]
},
{
"key": "broth",
"label": "Clear broth",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"brothy",
"stock"
]
},
{
"key": "pungency",
"label": "Pungency",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"pungent",
"brisk",
"briskness"
]
},
{
"key": "freshness",
"label": "Freshness",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"fresh and lively",
"鲜爽",
"xian shuang"
]
},
{
"key": "mellowness",
"label": "Mellowness",
"family": "taste",
"rated_each_infusion": false,
"synonyms": [
"mellow",
"醇和",
"chun he",
"醇厚",
"chun hou"
]
},
{
"key": "viscosity",
"label": "Viscosity",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"thick",
"thickness",
"syrupy"
]
},
{
"key": "silky",
"label": "Silky",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"silk-like"
]
},
{
"key": "drying",
"label": "Drying",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"dry mouth",
"cotton mouth"
]
},
{
"key": "smooth",
"label": "Smooth",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"smoothness",
"顺滑",
"shun hua"
]
},
{
"key": "velvety",
"label": "Velvety",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"velvet-like"
]
},
{
"key": "oily",
"label": "Oily",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"oil-like",
"slick"
]
},
{
"key": "round",
"label": "Round",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"rounded",
"no edges"
]
},
{
"key": "rice_water",
"label": "Rice water",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"rice soup",
"congee water",
"米汤",
"mi tang"
]
},
{
"key": "powdery",
"label": "Powdery",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"talc-like"
]
},
{
"key": "thin",
"label": "Thin",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"watery",
"weak-bodied",
"淡薄",
"dan bo"
]
},
{
"key": "prickly",
"label": "Prickly",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"tingling",
"prickle"
]
},
{
"key": "grippy",
"label": "Grippy",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"grip",
"rough"
]
},
{
"key": "soft",
"label": "Soft",
"family": "texture",
"rated_each_infusion": false,
"synonyms": [
"softness",
"gentle"
]
},
{
"key": "returning_sweetness",
"label": "Returning sweetness",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"sweet after bitter",
"sweetness that comes back",
"回甘",
"hui gan",
"sweet return"
]
},
{
"key": "mouthwatering",
"label": "Mouth-watering",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"salivating",
"生津",
"sheng jin"
]
},
{
"key": "throat_feel",
"label": "Throat feel",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"felt in the throat",
"喉韵",
"hou yun"
]
},
{
"key": "rock_character",
"label": "Rock character",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"rock rhyme",
"岩韵",
"yan yun"
]
},
{
"key": "cooling_finish",
"label": "Cooling finish",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"cool breath",
"fresh breath"
]
},
{
"key": "empty_cup_scent",
"label": "Empty-cup scent",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"scent of the drained cup",
"杯底香",
"bei di xiang"
]
},
{
"key": "clean_finish",
"label": "Clean finish",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"clean",
"nothing left behind"
]
},
{
"key": "short_finish",
"label": "Short finish",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"gone at once",
"abrupt"
]
},
{
"key": "throat_catch",
"label": "Throat catch",
"family": "finish",
"rated_each_infusion": false,
"synonyms": [
"scratchy throat",
"锁喉",
"suo hou"
]
},
{
"key": "orchid",
"label": "Orchid",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"orchid scent",
"兰花香",
"lan hua xiang",
"兰花"
]
},
{
"key": "osmanthus",
"label": "Osmanthus",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"sweet olive flower",
"桂花香",
"gui hua xiang",
"桂花"
]
},
{
"key": "jasmine",
"label": "Jasmine",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"jasmine flower",
"茉莉花香",
"mo li hua xiang",
"茉莉"
]
},
{
"key": "gardenia",
"label": "Gardenia",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"cape jasmine",
"栀子花香",
"zhi zi hua xiang"
]
},
{
"key": "magnolia",
"label": "Magnolia",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"magnolia flower",
"玉兰花香",
"yu lan hua xiang"
]
},
{
"key": "rose",
"label": "Rose",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"rose petal",
"玫瑰花香",
"mei gui hua xiang"
]
},
{
"key": "lilac",
"label": "Lilac",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"lilac flower"
]
},
{
"key": "violet",
"label": "Violet",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"violet flower",
"sweet violet"
]
},
{
"key": "lily",
"label": "Lily",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"lily flower",
"百合花香",
"bai he hua xiang"
]
},
{
"key": "honeysuckle",
"label": "Honeysuckle",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"honeysuckle flower",
"金银花",
"jin yin hua"
]
},
{
"key": "chrysanthemum",
"label": "Chrysanthemum",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"chrysanthemum flower",
"菊花",
"ju hua"
]
},
{
"key": "orange_blossom",
"label": "Orange blossom",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"neroli",
"citrus flower"
]
},
{
"key": "elderflower",
"label": "Elderflower",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"elder blossom"
]
},
{
"key": "chamomile",
"label": "Chamomile",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"camomile"
]
},
{
"key": "lavender",
"label": "Lavender",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"lavender flower"
]
},
{
"key": "geranium",
"label": "Geranium",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"geranium leaf"
]
},
{
"key": "floral",
"label": "Floral",
"family": "flowers",
"rated_each_infusion": false,
"synonyms": [
"flowery",
"blossom",
"花香",
"hua xiang"
]
},
{
"key": "peach",
"label": "Peach",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe peach",
"蜜桃香",
"mi tao xiang"
]
},
{
"key": "apricot",
"label": "Apricot",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"fresh apricot"
]
},
{
"key": "plum",
"label": "Plum",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"fresh plum"
]
},
{
"key": "cherry",
"label": "Cherry",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"sweet cherry"
]
},
{
"key": "apple",
"label": "Apple",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe apple"
]
},
{
"key": "green_apple",
"label": "Green apple",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"sharp apple"
]
},
{
"key": "pear",
"label": "Pear",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe pear"
]
},
{
"key": "muscat_grape",
"label": "Muscat grape",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"muscatel",
"grape"
]
},
{
"key": "lychee",
"label": "Lychee",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"litchi",
"荔枝",
"li zhi"
]
},
{
"key": "pomelo",
"label": "Pomelo",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"pomelo peel",
"柚子",
"you zi"
]
},
{
"key": "lemon",
"label": "Lemon",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"lemon peel",
"lemon zest"
]
},
{
"key": "orange",
"label": "Orange",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"orange peel",
"sweet orange"
]
},
{
"key": "bergamot",
"label": "Bergamot",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"bergamot peel"
]
},
{
"key": "mango",
"label": "Mango",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe mango"
]
},
{
"key": "pineapple",
"label": "Pineapple",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe pineapple"
]
},
{
"key": "banana",
"label": "Banana",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"ripe banana"
]
},
{
"key": "melon",
"label": "Melon",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"honeydew"
]
},
{
"key": "raspberry",
"label": "Raspberry",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"red berry"
]
},
{
"key": "blackcurrant",
"label": "Blackcurrant",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"cassis"
]
},
{
"key": "fruity",
"label": "Fruity",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"fruit",
"果香",
"guo xiang"
]
},
{
"key": "citrus",
"label": "Citrus",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"citrus fruit"
]
},
{
"key": "stone_fruit",
"label": "Stone fruit",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": []
},
{
"key": "berry",
"label": "Berry",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": [
"forest berries"
]
},
{
"key": "tropical_fruit",
"label": "Tropical fruit",
"family": "fresh fruit",
"rated_each_infusion": false,
"synonyms": []
},
{
"key": "raisin",
"label": "Raisin",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"sultana",
"dried grape"
]
},
{
"key": "prune",
"label": "Prune",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"dried plum",
"话梅",
"hua mei"
]
},
{
"key": "jujube",
"label": "Jujube",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"red date",
"Chinese date",
"枣香",
"zao xiang"
]
},
{
"key": "fig",
"label": "Fig",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"dried fig"
]
},
{
"key": "dried_apricot",
"label": "Dried apricot",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"apricot leather"
]
},
{
"key": "dried_longan",
"label": "Dried longan",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"longan",
"桂圆香",
"gui yuan xiang"
]
},
{
"key": "tangerine_peel",
"label": "Aged tangerine peel",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"dried mandarin peel",
"陈皮",
"chen pi"
]
},
{
"key": "hawthorn",
"label": "Hawthorn",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": [
"hawthorn berry",
"山楂",
"shan zha"
]
},
{
"key": "dried_fruit",
"label": "Dried fruit",
"family": "dried fruit",
"rated_each_infusion": false,
"synonyms": []
},
{
"key": "chestnut",
"label": "Chestnut",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"boiled chestnut",
"板栗香",
"ban li xiang",
"栗香",
"li xiang"
]
},
{
"key": "almond",
"label": "Almond",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"sweet almond"
]
},
{
"key": "bitter_almond",
"label": "Bitter almond",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"apricot kernel"
]
},
{
"key": "walnut",
"label": "Walnut",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"walnut skin"
]
},
{
"key": "hazelnut",
"label": "Hazelnut",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"roasted hazelnut"
]
},
{
"key": "peanut",
"label": "Peanut",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"roasted peanut"
]
},
{
"key": "sesame",
"label": "Sesame",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"toasted sesame"
]
},
{
"key": "toasted_rice",
"label": "Toasted rice",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"puffed rice",
"炒米香",
"chao mi xiang"
]
},
{
"key": "sticky_rice",
"label": "Sticky rice",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"glutinous rice",
"糯米香",
"nuo mi xiang",
"糯香",
"nuo xiang"
]
},
{
"key": "barley",
"label": "Roasted barley",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"barley water"
]
},
{
"key": "malt",
"label": "Malt",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"malty"
]
},
{
"key": "bread_crust",
"label": "Bread crust",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"crust",
"baked bread"
]
},
{
"key": "biscuit",
"label": "Biscuit",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"plain biscuit",
"shortbread"
]
},
{
"key": "cooked_bean",
"label": "Cooked bean",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"bean scent",
"豆香",
"dou xiang"
]
},
{
"key": "nutty",
"label": "Nutty",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"nut"
]
},
{
"key": "grain",
"label": "Grain",
"family": "nuts and grains",
"rated_each_infusion": false,
"synonyms": [
"cereal"
]
},
{
"key": "honey",
"label": "Honey",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"honeyed",
"蜜香",
"mi xiang",
"蜜"
]
},
{
"key": "caramel",
"label": "Caramel",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"burnt sugar",
"焦糖香",
"jiao tang xiang"
]
},
{
"key": "brown_sugar",
"label": "Brown sugar",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"dark sugar",
"红糖",
"hong tang"
]
},
{
"key": "rock_sugar",
"label": "Rock sugar",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"candy sugar",
"冰糖",
"bing tang"
]
},
{
"key": "molasses",
"label": "Molasses",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"treacle"
]
},
{
"key": "maple_syrup",
"label": "Maple syrup",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"maple"
]
},
{
"key": "toffee",
"label": "Toffee",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"butterscotch"
]
},
{
"key": "cocoa",
"label": "Cocoa",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"cocoa powder"
]
},
{
"key": "dark_chocolate",
"label": "Dark chocolate",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"bitter chocolate",
"chocolate"
]
},
{
"key": "vanilla",
"label": "Vanilla",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"vanilla pod"
]
},
{
"key": "marzipan",
"label": "Marzipan",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"almond paste"
]
},
{
"key": "stewed_fruit",
"label": "Stewed fruit",
"family": "sweet kitchen",
"rated_each_infusion": false,
"synonyms": [
"compote",
"jam"
]
},
{
"key": "cinnamon",
"label": "Cinnamon",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"cassia",
"cassia bark",
"桂皮香",
"gui pi xiang"
]
},
{
"key": "clove",
"label": "Clove",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"cloves"
]
},
{
"key": "nutmeg",
"label": "Nutmeg",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"mace"
]
},
{
"key": "black_pepper",
"label": "Black pepper",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"pepper",
"peppery"
]
},
{
"key": "sichuan_pepper",
"label": "Sichuan pepper",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"花椒",
"hua jiao"
]
},
{
"key": "ginger",
"label": "Ginger",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"fresh ginger",
"dried ginger"
]
},
{
"key": "cardamom",
"label": "Cardamom",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"green cardamom"
]
},
{
"key": "star_anise",
"label": "Star anise",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"aniseed",
"anise"
]
},
{
"key": "liquorice",
"label": "Liquorice",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"licorice",
"liquorice root",
"甘草",
"gan cao"
]
},
{
"key": "spicy",
"label": "Spicy",
"family": "spice",
"rated_each_infusion": false,
"synonyms": [
"spice",
"spiced"
]
},
{
"key": "cedar",
"label": "Cedar",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"cedarwood",
"pencil shavings"
]
},
{
"key": "sandalwood",
"label": "Sandalwood",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"檀香"
]
},
{
"key": "agarwood",
"label": "Agarwood",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"aloeswood",
"沉香"
]
},
{
"key": "pine_wood",
"label": "Pine wood",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"fresh pine",
"pine"
]
},
{
"key": "oak",
"label": "Oak",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"oak cask"
]
},
{
"key": "old_wood",
"label": "Old wood",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"aged wood",
"old furniture",
"木香",
"mu xiang"
]
},
{
"key": "bamboo",
"label": "Bamboo",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"bamboo stem"
]
},
{
"key": "tree_bark",
"label": "Tree bark",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"bark"
]
},
{
"key": "woody",
"label": "Woody",
"family": "wood",
"rated_each_infusion": false,
"synonyms": [
"wood"
]
},
{
"key": "fresh_green",
"label": "Fresh green",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"clean and fresh scent",
"清香",
"qing xiang"
]
},
{
"key": "cut_grass",
"label": "Cut grass",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"mown grass",
"grassy",
"grass",
"青草香",
"qing cao xiang"
]
},
{
"key": "hay",
"label": "Hay",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"dry grass",
"straw"
]
},
{
"key": "mint",
"label": "Mint",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"peppermint",
"薄荷",
"bo he"
]
},
{
"key": "thyme",
"label": "Thyme",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"thyme leaf"
]
},
{
"key": "sage",
"label": "Sage",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"sage leaf"
]
},
{
"key": "basil",
"label": "Basil",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"sweet basil"
]
},
{
"key": "bay_leaf",
"label": "Bay leaf",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"laurel leaf"
]
},
{
"key": "eucalyptus",
"label": "Eucalyptus",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"eucalyptus leaf"
]
},
{
"key": "dried_leaves",
"label": "Dried leaves",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"autumn leaves",
"leaf litter"
]
},
{
"key": "tobacco_leaf",
"label": "Tobacco leaf",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"cured tobacco",
"tobacco"
]
},
{
"key": "medicinal_herb",
"label": "Dried medicinal herb",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"herbalist's drawer",
"药香",
"yao xiang"
]
},
{
"key": "ginseng",
"label": "Ginseng",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"ginseng root",
"参香",
"shen xiang"
]
},
{
"key": "reed_leaf",
"label": "Reed leaf",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"zongzi leaf",
"粽叶香",
"zong ye xiang"
]
},
{
"key": "betel_nut",
"label": "Betel nut",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"areca nut",
"槟榔香",
"bing lang xiang"
]
},
{
"key": "tomato_leaf",
"label": "Tomato leaf",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"vine leaf"
]
},
{
"key": "herbal",
"label": "Herbal",
"family": "herb and leaf",
"rated_each_infusion": false,
"synonyms": [
"herb",
"herbaceous"
]
},
{
"key": "spinach",
"label": "Spinach",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"cooked greens"
]
},
{
"key": "asparagus",
"label": "Asparagus",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"cooked asparagus"
]
},
{
"key": "green_bean",
"label": "Green bean",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"string bean"
]
},
{
"key": "garden_pea",
"label": "Garden pea",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"fresh peas"
]
},
{
"key": "artichoke",
"label": "Artichoke",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"artichoke heart"
]
},
{
"key": "cucumber",
"label": "Cucumber",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"cucumber skin"
]
},
{
"key": "sweetcorn",
"label": "Sweetcorn",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"corn",
"maize"
]
},
{
"key": "pumpkin",
"label": "Pumpkin",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"squash"
]
},
{
"key": "sweet_potato",
"label": "Baked sweet potato",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"sweet potato",
"地瓜香",
"di gua xiang"
]
},
{
"key": "beetroot",
"label": "Beetroot",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"beet"
]
},
{
"key": "celery",
"label": "Celery",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"celery stalk"
]
},
{
"key": "vegetal",
"label": "Vegetal",
"family": "vegetable",
"rated_each_infusion": false,
"synonyms": [
"vegetable"
]
},
{
"key": "seaweed",
"label": "Seaweed",
"family": "sea",
"rated_each_infusion": false,
"synonyms": [
"nori",
"laver",
"海苔",
"hai tai"
]
},
{
"key": "sea_air",
"label": "Sea air",
"family": "sea",
"rated_each_infusion": false,
"synonyms": [
"sea breeze",
"seaside",
"marine"
]
},
{
"key": "oyster_shell",
"label": "Oyster shell",
"family": "sea",
"rated_each_infusion": false,
"synonyms": [
"shellfish",
"sea shell"
]
},
{
"key": "brine",
"label": "Brine",
"family": "sea",
"rated_each_infusion": false,
"synonyms": [
"salt water"
]
},
{
"key": "wet_stone",
"label": "Wet stone",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"wet rock",
"river pebble"
]
},
{
"key": "flint",
"label": "Flint",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"struck flint"
]
},
{
"key": "clay_pot",
"label": "Clay",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"clay pot",
"earthenware"
]
},
{
"key": "chalk",
"label": "Chalk",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"chalky",
"limestone"
]
},
{
"key": "wet_earth",
"label": "Wet earth",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"soil",
"damp earth",
"earthy",
"earth"
]
},
{
"key": "rain_on_dust",
"label": "Rain on dry ground",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"petrichor",
"first rain"
]
},
{
"key": "forest_floor",
"label": "Forest floor",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"undergrowth"
]
},
{
"key": "mushroom",
"label": "Mushroom",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"fresh mushroom",
"蘑菇",
"mo gu"
]
},
{
"key": "moss",
"label": "Moss",
"family": "earth and stone",
"rated_each_infusion": false,
"synonyms": [
"mossy"
]
},
{
"key": "wood_smoke",
"label": "Wood smoke",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"smoky",
"campfire",
"烟味",
"yan wei",
"smoke",
"烟熏",
"yan xun"
]
},
{
"key": "pine_smoke",
"label": "Pine smoke",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"smoke of pine wood",
"松烟香",
"song yan xiang"
]
},
{
"key": "charcoal",
"label": "Charcoal",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"charcoal fire",
"炭火香",
"tan huo xiang"
]
},
{
"key": "ash",
"label": "Ash",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"cold ash"
]
},
{
"key": "toast",
"label": "Toast",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"toasted bread"
]
},
{
"key": "coffee",
"label": "Roasted coffee",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"coffee"
]
},
{
"key": "high_fire",
"label": "High fire",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"strongly fired",
"高火",
"gao huo"
]
},
{
"key": "tar",
"label": "Tar",
"family": "smoke and fire",
"rated_each_infusion": false,
"synonyms": [
"pitch"
]
},
{
"key": "milk",
"label": "Milk",
"family": "dairy",
"rated_each_infusion": false,
"synonyms": [
"milky",
"奶香",
"nai xiang"
]
},
{
"key": "butter",
"label": "Butter",
"family": "dairy",
"rated_each_infusion": false,
"synonyms": [
"buttery",
"melted butter"
]
},
{
"key": "cream",
"label": "Cream",
"family": "dairy",
"rated_each_infusion": false,
"synonyms": [
"creamy"
]
},
{
"key": "condensed_milk",
"label": "Condensed milk",
"family": "dairy",
"rated_each_infusion": false,
"synonyms": [
"sweet milk",
"milk toffee"
]
},
{
"key": "yoghurt",
"label": "Yoghurt",
"family": "dairy",
"rated_each_infusion": false,
"synonyms": [
"yogurt",
"sour milk"
]
},
{
"key": "pine_resin",
"label": "Pine resin",
"family": "resin",
"rated_each_infusion": false,
"synonyms": [
"pine sap"
]
},
{
"key": "camphor",
"label": "Camphor",
"family": "resin",
"rated_each_infusion": false,
"synonyms": [
"camphor wood",
"樟香",
"zhang xiang"
]
},
{
"key": "incense",
"label": "Incense",
"family": "resin",
"rated_each_infusion": false,
"synonyms": [
"frankincense",
"temple smoke"
]
},
{
"key": "beeswax",
"label": "Beeswax",
"family": "resin",
"rated_each_infusion": false,
"synonyms": [
"wax",
"honeycomb"
]
},
{
"key": "amber_resin",
"label": "Amber resin",
"family": "resin",
"rated_each_infusion": false,
"synonyms": [
"warm resin"
]
},
{
"key": "aged",
"label": "Aged scent",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"aged",
"old tea",
"陈香",
"chen xiang"
]
},
{
"key": "leather",
"label": "Leather",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"saddle leather"
]
},
{
"key": "old_books",
"label": "Old books",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"old paper",
"library"
]
},
{
"key": "cellar",
"label": "Cellar",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"cool cellar",
"stone cellar"
]
},
{
"key": "wet_pile",
"label": "Wet-pile scent",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"fermentation pile",
"渥堆味",
"wo dui wei"
]
},
{
"key": "dry_storage",
"label": "Dry storage",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"dry-stored",
"干仓",
"gan cang"
]
},
{
"key": "wet_storage",
"label": "Damp storage",
"family": "storage",
"rated_each_infusion": false,
"synonyms": [
"wet-stored",
"湿仓",
"shi cang"
]
},
{
"key": "liquor_pale_yellow",
"label": "Pale yellow liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"straw-coloured",
"light yellow"
]
},
{
"key": "liquor_green_yellow",
"label": "Green-yellow liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"黄绿",
"huang lü"
]
},
{
"key": "liquor_golden",
"label": "Golden liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"金黄",
"jin huang"
]
},
{
"key": "liquor_orange",
"label": "Orange liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"橙黄",
"cheng huang"
]
},
{
"key": "liquor_amber",
"label": "Amber liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"琥珀色",
"hu po se"
]
},
{
"key": "liquor_red",
"label": "Red liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"红艳",
"hong yan"
]
},
{
"key": "liquor_brown",
"label": "Red-brown liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"红褐",
"hong he"
]
},
{
"key": "liquor_near_black",
"label": "Near-black liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"inky"
]
},
{
"key": "liquor_clear",
"label": "Clear liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"transparent",
"清澈",
"qing che"
]
},
{
"key": "liquor_bright",
"label": "Bright liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"brilliant",
"明亮",
"ming liang"
]
},
{
"key": "liquor_dull",
"label": "Dull liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"lifeless colour"
]
},
{
"key": "liquor_cloudy",
"label": "Cloudy liquor",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"turbid",
"浑浊",
"hun zhuo"
]
},
{
"key": "liquor_downy",
"label": "Floating down",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"fine hairs in the cup",
"毫浑",
"hao hun"
]
},
{
"key": "liquor_golden_rim",
"label": "Golden rim",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"gold ring",
"金圈",
"jin quan"
]
},
{
"key": "liquor_sediment",
"label": "Sediment",
"family": "liquor look",
"rated_each_infusion": false,
"synonyms": [
"dregs",
"leaf dust in the cup"
]
},
{
"key": "leaf_tight",
"label": "Tightly rolled leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"tight",
"紧结",
"jin jie"
]
},
{
"key": "leaf_ball",
"label": "Ball-rolled leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"pellet",
"pearl"
]
},
{
"key": "leaf_flat",
"label": "Flat-pressed leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"flat",
"扁平",
"bian ping"
]
},
{
"key": "leaf_twisted",
"label": "Twisted strip",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"strip-shaped",
"条索",
"tiao suo"
]
},
{
"key": "leaf_downy",
"label": "Downy tips",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"visible down",
"显毫",
"xian hao"
]
},
{
"key": "leaf_golden_tips",
"label": "Golden tips",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"golden buds",
"金毫",
"jin hao"
]
},
{
"key": "leaf_glossy",
"label": "Glossy leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"lustrous",
"油润",
"you run"
]
},
{
"key": "leaf_even",
"label": "Even leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"uniform",
"匀整",
"yun zheng"
]
},
{
"key": "leaf_broken",
"label": "Broken leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"fragments",
"断碎",
"duan sui"
]
},
{
"key": "leaf_stems",
"label": "Stems",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"stalks",
"茶梗",
"cha geng"
]
},
{
"key": "leaf_supple",
"label": "Supple spent leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"soft leaf",
"柔软",
"rou ruan"
]
},
{
"key": "leaf_red_edge",
"label": "Red-edged leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"red rim on a green leaf",
"红边",
"hong bian",
"red edge"
]
},
{
"key": "leaf_blistered",
"label": "Blistered leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"toad back",
"蛤蟆背",
"ha ma bei"
]
},
{
"key": "leaf_charred",
"label": "Charred leaf",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"stiff black leaf",
"炭化",
"tan hua"
]
},
{
"key": "leaf_whole_buds",
"label": "Whole buds",
"family": "leaf look",
"rated_each_infusion": false,
"synonyms": [
"intact buds",
"芽头",
"ya tou"
]
},
{
"key": "body_feeling",
"label": "Felt in the body",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"tea energy",
"茶气",
"cha qi"
]
},
{
"key": "warming",
"label": "Warming",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"warm body",
"warmth"
]
},
{
"key": "cooling",
"label": "Cooling",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"cool body"
]
},
{
"key": "calm",
"label": "Calm",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"settled",
"quiet"
]
},
{
"key": "alert",
"label": "Alert",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"awake",
"wakeful"
]
},
{
"key": "restless",
"label": "Restless",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"jittery",
"uneasy"
]
},
{
"key": "heavy",
"label": "Heavy",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"weighty",
"sluggish"
]
},
{
"key": "light_headed",
"label": "Light-headed",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"tea-drunk",
"茶醉",
"cha zui"
]
},
{
"key": "perspiring",
"label": "Perspiring",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"light sweat",
"sweating"
]
},
{
"key": "empty_stomach",
"label": "Empty-stomach feeling",
"family": "body feeling",
"rated_each_infusion": false,
"synonyms": [
"hungry"
]
},
{
"key": "stale",
"label": "Stale",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"tired leaf",
"lost its scent"
]
},
{
"key": "musty",
"label": "Musty",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"mouldy",
"mould",
"霉味",
"mei wei"
]
},
{
"key": "burnt",
"label": "Burnt",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"scorched",
"焦味",
"jiao wei"
]
},
{
"key": "raw_green",
"label": "Raw green",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"underdone",
"青味",
"qing wei"
]
},
{
"key": "stewed",
"label": "Stewed",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"stuffy",
"steamed too long",
"闷味",
"men wei"
]
},
{
"key": "water_taste",
"label": "Watery and hollow",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"taste of plain water",
"水味",
"shui wei"
]
},
{
"key": "foreign_odour",
"label": "Foreign odour",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"off-smell",
"taint",
"异味",
"yi wei"
]
},
{
"key": "cardboard",
"label": "Cardboard",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"wet paper",
"box taint"
]
},
{
"key": "rancid",
"label": "Rancid",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"old fat",
"rancid oil"
]
},
{
"key": "fishy",
"label": "Fishy",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"fish-like",
"腥味",
"xing wei"
]
},
{
"key": "metallic",
"label": "Metallic",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"tinny",
"iron"
]
},
{
"key": "chlorine",
"label": "Chlorine",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"swimming pool",
"tap water"
]
},
{
"key": "soapy",
"label": "Soapy",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"soap",
"detergent"
]
},
{
"key": "plastic",
"label": "Plastic",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"packaging taint"
]
},
{
"key": "sour_fault",
"label": "Sour fault",
"family": "faults",
"rated_each_infusion": false,
"synonyms": [
"souring",
"vinegar",
"酸馊",
"suan sou"
]
}
];
